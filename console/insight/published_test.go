// SPDX-License-Identifier: Apache-2.0

package insight

import (
	"math"
	"testing"
)

// Published counts with their 95 % limits, computed apart from this code.
//
//	[6] Ng et al., Med J Aust 2022;217(2):88-93
//	[9] McKay et al., Appl Occup Environ Hyg 2000;15(6):479-484: a fixed leak,
//	    tasted by 26 of 26 with bitter and missed by 9 of 26 with sweet
//	[D] small counts, derived
//
// RR1029 (2015) gives sensitivities of 0.86 and 0.81, and Zhuang et al. (JOEH
// 2016) losses of 10, 20 and 25 %, without the counts that an interval needs.
func TestPublishedIntervals(t *testing.T) {
	for _, c := range []struct {
		source         string
		k, n           int
		wLo, wHi       float64
		exactLo, exaHi float64
	}{
		{"[6]", 1029, 1583, 0.626198, 0.673138, 0.625959, 0.673547},
		{"[6]", 660, 2035, 0.304333, 0.344978, 0.304005, 0.345151},
		{"[6]", 1876, 1946, 0.954799, 0.971431, 0.954769, 0.971853},
		{"[D]", 0, 1, 0, 0.793451, 0, 0.975},
		{"[D]", 1, 2, 0.094531, 0.905469, 0.012579, 0.987421},
		{"[D]", 7, 8, 0.529112, 0.977583, 0.473490, 0.996840},
		{"[D]", 0, 10, 0, 0.277533, 0, 0.308497},
		{"[D]", 24, 26, 0.758584, 0.978645, 0.748697, 0.990545},
		{"[9]", 9, 26, 0.194122, 0.537794, 0.172144, 0.556672},
	} {
		w, e := Wilson(c.k, c.n, 0.95), ClopperPearson(c.k, c.n, 0.95)
		for _, x := range []struct {
			what      string
			got, want float64
		}{
			{"Wilson low", w.Lo, c.wLo}, {"Wilson high", w.Hi, c.wHi},
			{"Clopper-Pearson low", e.Lo, c.exactLo}, {"Clopper-Pearson high", e.Hi, c.exaHi},
		} {
			if math.Abs(x.got-x.want) > 5.1e-7 {
				t.Errorf("%s %d of %d: %s %.7f, want %.6f", c.source, c.k, c.n, x.what, x.got, x.want)
			}
		}
	}
	// z as the figures used it.
	if got := z(0.95); math.Abs(got-1.959963985) > 5e-10 {
		t.Errorf("z %.10f", got)
	}
}

// PMC7112791, table 3 [7]: cells 331, 7, 35, 383; kappa printed as 0.888.
func TestPublishedKappa(t *testing.T) {
	k := Table2{{331, 7}, {35, 383}}.Kappa()
	if !k.Defined || k.Few() || k.Pairs != 756 {
		t.Fatalf("%+v", k)
	}
	for _, x := range []struct {
		what      string
		got, want float64
	}{{"Po", k.Observed.Share, 0.944444}, {"Pe", k.Chance, 0.501680}, {"kappa", k.Kappa, 0.888514}} {
		if math.Abs(x.got-x.want) > 5.1e-7 {
			t.Errorf("%s %.7f, want %.6f", x.what, x.got, x.want)
		}
	}
	if !(k.Lo > 0.85 && k.Lo < k.Kappa && k.Kappa < k.Hi && k.Hi < 0.93) {
		t.Errorf("interval %v to %v", k.Lo, k.Hi)
	}
}

// PMC10976736, table 3 [8]: TP 92, FP 5, TN 281, FN 6; positive: the test fails.
func TestPublishedSensitivity(t *testing.T) {
	const tp, fp, tn, fn = 92, 5, 281, 6
	for _, x := range []struct {
		what string
		k, n int
		want float64
	}{
		{"sensitivity", tp, tp + fn, 0.938776}, {"specificity", tn, tn + fp, 0.982517},
		{"negative predictive value", tn, tn + fn, 0.979094}, {"positive predictive value", tp, tp + fp, 0.948454},
	} {
		if e := Wilson(x.k, x.n, Level); math.Abs(e.Share-x.want) > 5.1e-7 || !(e.Lo < e.Share && e.Share < e.Hi) {
			t.Errorf("%s %+v, want %v", x.what, e, x.want)
		}
	}
}

// Am J Infect Control 2023;51(2):194-198 [11]: 12,582 tests, 15.2 % of workers
// failed. A workforce of that size fixes the share to within seven in a thousand.
func TestPublishedProgramme(t *testing.T) {
	e := Wilson(1912, 12582, Level)
	if math.Round(e.Share*1000) != 152 || e.Lo < 0.145 || e.Hi > 0.159 {
		t.Errorf("%+v", e)
	}
}

// [9] again: bitter found the leak in 26 of 26, sweet in 17 of 26. Fisher's
// test by hand: with nine misses all on one side, the one tail is
// C(26,9)/C(52,9), and the other side is as likely.
func TestPublishedLeak(t *testing.T) {
	tail := 1.0
	for i := range 9 {
		tail *= float64(26-i) / float64(52-i)
	}
	if got, want := Fisher(26, 0, 17, 9), 2*tail; math.Abs(got/want-1) > 1e-9 {
		t.Errorf("Fisher %v, want %v", got, want)
	}
	if b := ClopperPearson(26, 26, Level); b.Hi != 1 || math.Abs(b.Lo-math.Pow(0.025, 1.0/26)) > 1e-12 {
		t.Errorf("26 of 26: %+v", b)
	}
}

// The lady tasting tea (R. A. Fisher, The Design of Experiments, 1935): three
// of four right has 17 of 70 on one side and 34 of 70 on both.
func TestTea(t *testing.T) {
	if got := Fisher(3, 1, 1, 3); math.Abs(got-34.0/70) > 1e-12 {
		t.Errorf("%v, want %v", got, 34.0/70)
	}
	if Fisher(0, 0, 3, 1) != 1 || Fisher(-1, 2, 3, 1) != 1 {
		t.Error("nothing to compare is no difference")
	}
}
