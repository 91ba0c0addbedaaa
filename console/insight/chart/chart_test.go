// SPDX-License-Identifier: Apache-2.0

package chart

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode"

	"tallyhood/console/insight"
	"tallyhood/console/procedure"
)

var (
	amounts = []int{0, 1, 12, 60, 1200, 9000}
	widths  = []float64{720, 360}
)

// each draws every chart of every set and width.
func each(t *testing.T, words Words, do func(t *testing.T, name string, c Chart)) {
	t.Helper()
	for _, n := range amounts {
		s := harrowgate(t, n)
		for _, w := range widths {
			for name, c := range all(Drawer{Words: words, Width: w}, s) {
				t.Run(fmt.Sprintf("%s/%d/%.0f", name, n, w), func(t *testing.T) { do(t, name, c) })
			}
		}
	}
}

// A node of a drawing.
type node struct {
	name string
	attr map[string]string
	text string
	kids []*node
}

func parse(t *testing.T, svg string) *node {
	t.Helper()
	dec := xml.NewDecoder(strings.NewReader(svg))
	root := &node{}
	stack := []*node{root}
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("not well formed: %v", err)
		}
		top := stack[len(stack)-1]
		switch tok := tok.(type) {
		case xml.StartElement:
			n := &node{name: tok.Name.Local, attr: map[string]string{}}
			for _, a := range tok.Attr {
				n.attr[a.Name.Local] = a.Value
			}
			top.kids = append(top.kids, n)
			stack = append(stack, n)
		case xml.EndElement:
			stack = stack[:len(stack)-1]
		case xml.CharData:
			top.text += string(tok)
		}
	}
	if len(root.kids) != 1 || root.kids[0].name != "svg" {
		t.Fatal("not one svg element")
	}
	return root.kids[0]
}

func (n *node) walk(do func(*node)) {
	do(n)
	for _, k := range n.kids {
		k.walk(do)
	}
}

func (n *node) num(t *testing.T, name string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(n.attr[name], 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		t.Errorf("%s %s is %q", n.name, name, n.attr[name])
	}
	return v
}

// The drawing has a title and a description, explicit colours, a class that
// the style sheet knows, and nothing outside its frame.
func TestDrawing(t *testing.T) {
	each(t, nil, func(t *testing.T, name string, c Chart) {
		if c.SVG == "" {
			return
		}
		svg := parse(t, c.SVG)
		w, h := svg.num(t, "width"), svg.num(t, "height")
		if svg.attr["viewBox"] != fmt.Sprintf("0 0 %s %s", svg.attr["width"], svg.attr["height"]) {
			t.Errorf("view box %q", svg.attr["viewBox"])
		}
		var ids []string
		for _, k := range svg.kids {
			if (k.name == "title" || k.name == "desc") && k.text != "" {
				ids = append(ids, k.attr["id"])
			}
		}
		if got := strings.Fields(svg.attr["aria-labelledby"]); !slices.Equal(got, ids) || len(got) != 2 {
			t.Errorf("labelled by %v, has %v", got, ids)
		}
		inside := func(n *node, x, y float64) {
			if x < -0.5 || y < -0.5 || x > w+0.5 || y > h+0.5 {
				t.Errorf("%s %q at %.1f, %.1f leaves %.0f by %.0f", n.name, n.text, x, y, w, h)
			}
		}
		svg.walk(func(n *node) {
			if n.name == "clipPath" {
				n.kids = nil // is not drawn
			}
			switch n.name {
			case "line":
				inside(n, n.num(t, "x1"), n.num(t, "y1"))
				inside(n, n.num(t, "x2"), n.num(t, "y2"))
			case "rect":
				x, y := n.num(t, "x"), n.num(t, "y")
				inside(n, x, y)
				inside(n, x+n.num(t, "width"), y+n.num(t, "height"))
			case "circle":
				inside(n, n.num(t, "cx")-n.num(t, "r"), n.num(t, "cy")-n.num(t, "r"))
				inside(n, n.num(t, "cx")+n.num(t, "r"), n.num(t, "cy")+n.num(t, "r"))
			case "text":
				b := textBox(t, n)
				inside(n, b.x0, b.y0)
				inside(n, b.x1, b.y1)
			case "polyline", "polygon":
				if strings.Contains(n.attr["points"], "NaN") || strings.Contains(n.attr["points"], "Inf") {
					t.Errorf("points %s", n.attr["points"])
				}
			}
			switch n.name {
			case "line", "rect", "circle", "text", "polyline", "polygon":
				if n.attr["fill"] == "" && n.attr["stroke"] == "" {
					t.Errorf("%s without a colour", n.name)
				}
				for _, class := range strings.Fields(n.attr["class"]) {
					if !strings.Contains(CSS, "."+class+"{") {
						t.Errorf("class %q is not in the style sheet", class)
					}
				}
				if n.attr["style"] != "" {
					t.Error("inline style, which the page's policy forbids")
				}
			case "g":
				if n.attr["clip-path"] == "" && (len(n.kids) == 0 || n.kids[0].name != "title" || n.kids[0].text == "") {
					t.Error("a group without a hint")
				}
			}
		})
	})
}

// textBox is where a text stands, a little narrower than guessed.
func textBox(t *testing.T, n *node) box {
	size := n.num(t, "font-size")
	w := 0.9 * wide(n.text, size)
	x, y := n.num(t, "x"), n.num(t, "y")
	switch n.attr["text-anchor"] {
	case middle:
		x -= w / 2
	case right:
		x -= w
	}
	return box{x, y - 0.74*size, x + w, y + 0.1*size}
}

// No text stands on another.
func TestTextsApart(t *testing.T) {
	each(t, nil, func(t *testing.T, name string, c Chart) {
		if c.SVG == "" {
			return
		}
		var boxes []box
		var texts []string
		parse(t, c.SVG).walk(func(n *node) {
			if n.name != "text" {
				return
			}
			b := textBox(t, n)
			for i, o := range boxes {
				if b.meets(o) {
					t.Errorf("%q stands on %q", n.text, texts[i])
				}
			}
			boxes, texts = append(boxes, b), append(texts, n.text)
		})
	})
}

// Every word comes from the catalogue, and every sentence of it is used.
func TestWords(t *testing.T) {
	used := map[string]bool{}
	marked := func(key string, args ...string) string {
		used[key] = true
		if _, ok := Catalogue[key]; !ok && key != "agent.other" {
			t.Errorf("no sentence for %q", key)
		}
		s := English(key, args...)
		if regexp.MustCompile(`\{\d\}`).MatchString(s) {
			t.Errorf("%q lacks an argument: %s", key, s)
		}
		if key == "decimal" {
			return ","
		}
		return "‹" + s + "›"
	}
	// What is no word of ours: facepieces and letters.
	names := strings.NewReplacer("Brindle", "", "Corrie", "", "Tarn", "", "Oxley", "", "Gill", "", "Fell with exhalation valve", "", "Marl & Sons", "", "Scree", "", "one size", "", "half mask", "", "folded", "", "cup", "")
	inner := regexp.MustCompile(`‹[^‹›]*›`)
	check := func(t *testing.T, where, s string) {
		if strings.Contains(s, "…") { // a shortened name
			return
		}
		for inner.MatchString(s) {
			s = inner.ReplaceAllString(s, "")
		}
		for _, word := range strings.FieldsFunc(names.Replace(s), func(r rune) bool { return !unicode.IsLetter(r) && r != '/' }) {
			if len(word) > 1 && word != "S/M" {
				t.Errorf("%s: %q does not come from the catalogue", where, word)
			}
		}
		if regexp.MustCompile(`\d\.\d`).MatchString(s) {
			t.Errorf("%s: a figure without the language's decimal mark in %q", where, s)
		}
	}
	each(t, marked, func(t *testing.T, name string, c Chart) {
		if c.Title == "" || c.Say == "" {
			t.Error("no title, or nothing said")
		}
		check(t, "title", c.Title+" "+c.Say+" "+strings.Join(c.Notes, " "))
		for _, col := range c.Table.Columns {
			check(t, "column", col.Name)
		}
		for _, row := range c.Table.Rows {
			for _, cell := range row {
				check(t, "cell", cell.Text)
			}
		}
		if c.SVG != "" {
			parse(t, c.SVG).walk(func(n *node) { check(t, n.name, n.text) })
		}
	})
	d := Drawer{Words: marked}
	if got := d.agent("other"); got != "‹agent.other›" {
		t.Errorf("%q", got)
	}
	if got := (Drawer{}).agent("other"); got != "other" {
		t.Errorf("an agent without a word is called %q", got)
	}
	d.facepiece(insight.Facepiece{})
	for _, say := range []insight.Say{insight.SayNothing, insight.SayFew, insight.SayOnly, insight.SayOpen, insight.SayLeads} {
		d.say("advice."+string(say), "", "")
	}
	d.Agreement(insight.Agreement{Late: 3, Kappa: insight.Table2{{9, 0}, {0, 0}}.Kappa()})
	d.Agreement(insight.Agreement{Kappa: insight.Table2{{9, 1}, {2, 3}}.Kappa()})
	d.spanCell(insight.Span{Over: true})
	var many []insight.Month
	for i := range 30 {
		many = append(many, insight.Month{Year: 2024 + i/12, Month: i%12 + 1, Counts: insight.Counts{Pass: i}})
	}
	d.Months(many)
	for i := insight.FarBelow; i <= insight.FarAbove; i++ {
		d.place(i)
	}
	for _, key := range slices.Sorted(maps.Keys(Catalogue)) {
		if !used[key] && !strings.HasPrefix(key, "reason.") && !strings.HasPrefix(key, "outcome.") {
			t.Errorf("nothing says %q", key)
		}
	}
	for _, r := range []procedure.Reason{
		procedure.Tasted, procedure.TastedBeforeClock, procedure.TopUpShort, procedure.Interrupted, procedure.CableOpen,
		procedure.CableShort, procedure.PowerLost, procedure.HoodOff, procedure.FacepieceTouched, procedure.JournalFailed,
		procedure.StoppedForWelfare, procedure.MistCheckFailed, procedure.NoTasteBy30, procedure.DoubtfulReport,
		procedure.ButtonUnproven, procedure.InputGap, procedure.Stalled,
	} {
		if Catalogue["reason."+string(r)] == "" {
			t.Errorf("no sentence for reason %s", r)
		}
	}
	for _, o := range []procedure.Outcome{procedure.Pass, procedure.Fail, procedure.NotValid, procedure.CannotTaste} {
		if Catalogue["outcome."+string(o)] == "" {
			t.Errorf("no sentence for outcome %s", o)
		}
	}
	for _, s := range insight.StageOrder {
		if Catalogue["stage."+string(s)] == "" {
			t.Errorf("no sentence for stage %s", s)
		}
	}
}

// A row has a cell for every column, and its figures are finite.
func TestTables(t *testing.T) {
	each(t, nil, func(t *testing.T, name string, c Chart) {
		for i, row := range c.Table.Rows {
			if len(row) != len(c.Table.Columns) {
				t.Fatalf("row %d has %d cells under %d columns", i, len(row), len(c.Table.Columns))
			}
			for j, cell := range row {
				if math.IsNaN(cell.Value) || math.IsInf(cell.Value, 0) || strings.Contains(cell.Text, "NaN") {
					t.Errorf("%s: %+v", c.Table.Columns[j].Name, cell)
				}
				if cell.Number && c.Table.Columns[j].Unit == "%" && (cell.Value < 0 || cell.Value > 100) {
					t.Errorf("%s: %v %%", c.Table.Columns[j].Name, cell.Value)
				}
			}
		}
		if c.SVG != "" && len(c.Table.Rows) == 0 {
			t.Error("a drawing without a table")
		}
	})
	// The table says what the set says.
	s := harrowgate(t, 1200)
	c := Drawer{}.Models(s.Groups(insight.ByModelSize), s.Counts())
	var pass, valid float64
	for _, row := range c.Table.Rows {
		pass, valid = pass+row[4].Value, valid+row[5].Value
	}
	if n := s.Counts(); int(pass) != n.Pass || int(valid) != n.Valid() || n.Pass == 0 {
		t.Errorf("%v of %v, want %d of %d", pass, valid, n.Pass, n.Valid())
	}
}

// Nothing drawn without tests, and said so.
func TestNothing(t *testing.T) {
	for name, c := range all(Drawer{}, insight.NewSet()) {
		if c.SVG != "" || c.Say == "" || len(c.Table.Columns) == 0 {
			t.Errorf("%s: %+v", name, c)
		}
	}
}

// A mark stands where its figure is: the one share of a quarter lies on the
// line of 25 %, and the letter of a tester far out is on a full dot.
func TestPlaces(t *testing.T) {
	g := insight.Group{Facepiece: insight.Facepiece{Make: "Oxley"}, Counts: insight.Counts{Pass: 10, Fail: 30}}
	c := Drawer{}.Models([]insight.Group{g}, g.Counts)
	svg := parse(t, c.SVG)
	var tick, dot float64
	svg.walk(func(n *node) {
		if n.name == "text" && n.text == "25 %" {
			tick = n.num(t, "x")
		}
		if n.name == "circle" {
			dot = n.num(t, "cx")
		}
	})
	if tick == 0 || math.Abs(tick-dot) > 0.2 {
		t.Errorf("a quarter at %v, the scale says %v", dot, tick)
	}
	f := insight.NewFunnel([]insight.FunnelPoint{{Key: "A", K: 950, N: 1000}, {Key: "B", K: 50, N: 100}})
	c = Drawer{}.TesterFunnel(f)
	found := false
	parse(t, c.SVG).walk(func(n *node) {
		if n.name == "g" && len(n.kids) > 1 && strings.HasPrefix(n.kids[0].text, "B:") {
			found = true
			if n.kids[1].attr["fill"] != paper["ink"] {
				t.Errorf("B is far out and marked %s", n.kids[1].attr["fill"])
			}
		}
	})
	if !found || !strings.Contains(c.Say, "B (far below)") {
		t.Errorf("B is not said to be out: %s", c.Say)
	}
}

// Names of facepieces come from people and may hold anything.
func TestHostile(t *testing.T) {
	bad := `<script>"'&x</title>` + strings.Repeat("Ж界", 60)
	g := insight.Group{Facepiece: insight.Facepiece{Make: bad, Model: bad, Size: bad}, Counts: insight.Counts{Pass: 20, Fail: 5, FirstPass: 3}}
	for _, w := range widths {
		d := Drawer{Width: w}
		f := insight.NewFunnel([]insight.FunnelPoint{{K: 20, N: 25}})
		for _, c := range []Chart{
			d.Models([]insight.Group{g}, g.Counts), d.FacepieceFunnel(f, []insight.Group{g}),
			d.Bins([]insight.AgentBins{{Agent: bad, Insensitive: insight.Wilson(0, 3, 0.95)}}),
		} {
			parse(t, c.SVG).walk(func(n *node) {
				if n.name == "script" {
					t.Error("a name became an element")
				}
			})
		}
	}
}

// The same figures give the same bytes, and no id of anyone is in them.
func TestSameAndNameless(t *testing.T) {
	a, b := all(Drawer{}, harrowgate(t, 1200)), all(Drawer{}, harrowgate(t, 1200))
	if !reflect.DeepEqual(a, b) {
		t.Error("two drawings of the same figures differ")
	}
	whole := fmt.Sprint(a)
	for _, x := range harrowgate(t, 1200).Testers() {
		if strings.Contains(whole, fmt.Sprint(uint64(x.ID))) {
			t.Errorf("the id of tester %s is in a chart", x.Letter)
		}
	}
}

func TestNice(t *testing.T) {
	for in, want := range map[float64]float64{0.03: 0.05, 0.1: 0.1, 0.11: 0.2, 0.6: 1, 1: 1, 3: 5, 41: 50, 70: 100, 1900: 2000} {
		if got := nice(in); math.Abs(got-want) > 1e-9*want {
			t.Errorf("nice %v is %v, want %v", in, got, want)
		}
	}
	if got := clock(61*time.Minute + 4*time.Second + 600*time.Millisecond); got != "61:05" {
		t.Errorf("clock %s", got)
	}
}

// Another program can draw them.
func TestRenders(t *testing.T) {
	rsvg, err := exec.LookPath("rsvg-convert")
	if err != nil {
		t.Skip("missing part: rsvg-convert of librsvg2-bin, which draws the charts here")
	}
	dir := t.TempDir()
	for name, c := range all(Drawer{}, harrowgate(t, 1200)) {
		if c.SVG == "" {
			continue
		}
		file := filepath.Join(dir, name+".svg")
		if err := os.WriteFile(file, []byte(c.SVG), 0o644); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command(rsvg, "-o", file+".png", file).CombinedOutput(); err != nil || len(out) > 0 {
			t.Errorf("%s: %v %s", name, err, out)
		}
	}
}

func BenchmarkCharts(b *testing.B) {
	s := harrowgate(b, 9000)
	for b.Loop() {
		all(Drawer{}, s)
	}
}
