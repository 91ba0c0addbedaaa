// SPDX-License-Identifier: Apache-2.0

package rules

// A Layer says what a part of the tree never imports. Paths are from the
// module's root when they begin with "./", otherwise as Go writes them; a path
// stands for all beneath it. Test code is free: it holds both ends.
type Layer struct {
	In    string   // the folder bound
	Never []string // what it never imports; what lies in it is its own
	Why   string
}

// A Keeper says which packages alone import a library.
type Keeper struct {
	Library string
	By      []string // folders from the root
	Tests   bool     // test code may import it too
	Why     string
}

// A Call says which packages alone use a function of the standard library.
type Call struct {
	Package string // import path
	Names   []string
	By      []string // folders from the root; empty for nobody
	Main    bool     // only inside func main of a program
	Tests   bool     // test code may use it too
	Why     string
}

// Pure packages are the functional core. They import nothing of ours, nothing
// that reaches outside, and no library whose inside cannot be seen here.
var Pure = []string{"console/procedure", "console/hoodlevel", "console/wiring", "console/latency", "device/contact", "device/bulb/curve"}

// notPure are the parts of the standard library that reach outside or whose
// result may differ from one run to the next.
var notPure = []string{
	"C", "context", "crypto/rand", "database", "io/ioutil", "log", "math/rand",
	"net", "os", "plugin", "runtime", "sync", "syscall", "testing", "unsafe",
}

const whyPure = "the same inputs give the same facts, byte for byte, live, in replay and in simulation"

// Layers, from the table of packages in the design.
var Layers = []Layer{
	{In: "store", Never: []string{"./console", "./device", "./audio", "./cmd"},
		Why: "the store never knows what it stores"},
	{In: "audio", Never: []string{"./console", "./device", "./store", "./cmd"},
		Why: "audio never knows why it sounds"},
	{In: "device", Never: []string{"./console", "./store", "./audio", "./cmd"},
		Why: "a board offers edges and lamps and never knows what they mean"},
	{In: "device/clock", Never: []string{"./"},
		Why: "everything stands on the clock, so it stands on nothing of ours"},
	{In: "console", Never: []string{"./cmd"},
		Why: "parts are wired from outside"},
	{In: "console/web", Never: []string{"./device", "./audio"},
		Why: "a page never touches a board: it asks the session"},
	{In: "console/hub", Never: []string{"./"},
		Why: "the hub passes messages on and never reads them"},
	{In: "console/session", Never: []string{"./console/hub", "./console/web"},
		Why: "the loop publishes and never waits for who watches"},
	{In: "console/insight", Never: []string{"os", "net", "log", "sync", "math/rand", "./store", "./device", "./audio", "./console/session", "./console/web", "./console/programme"},
		Why: "figures are reckoned from what they are given, and the same tests give the same figures"},
	{In: "console/wire", Never: []string{"./device", "./store", "./audio"},
		Why: "the contract with the browser is plain data"},
	{In: "console/drill", Never: append([]string{"./device", "./store", "./audio", "./console/session", "./console/wire", "./console/web", "./console/programme", "./console/evidence", "./console/sealing"}, notPure...),
		Why: "a simulated wearer draws nothing that its seed does not give, and no drill comes near the records of people"},
	{In: "console/review", Never: append([]string{"./device", "./store", "./audio", "./console/session", "./console/web", "./console/programme"}, notPure...),
		Why: "a review is the facts of one run looked at again: it can neither drive one nor change one"},
	{In: "console/shown", Never: append([]string{"./device", "./store", "./audio", "./console/session", "./console/web"}, notPure...),
		Why: "a run looks the same live and in its review, whoever watches and whatever is on disk"},
	{In: "console/relay", Never: []string{"./device", "./store", "./audio", "./console/session", "./console/web", "./console/programme", "./console/archive"},
		Why: "another box is watched as a trainer watches: nothing of it is driven, kept or mixed with what is on this one"},
	{In: "console/record", Never: []string{"./device", "./store", "./audio", "./console/session", "./console/wire", "./console/programme"},
		Why: "a record follows from the facts alone"},
	{In: "console/figures", Never: []string{"./device", "./store", "./audio", "./console/session", "./console/web"},
		Why: "the figures kept ready follow from what the programme says of its runs"},
	{In: "console/sealing", Never: []string{"./console", "./device", "./audio", "./cmd"},
		Why: "a key is for any person; what is sealed is not looked at"},
	{In: "console/backup", Never: []string{"./console", "./device", "./audio", "./cmd"},
		Why: "a copy is locked as it is; what is in it is not looked at"},
	{In: "console/evidence", Never: []string{"./console", "./device", "./audio", "./cmd"},
		Why: "what proves the records does not depend on what reads them"},
	{In: "console/report", Never: []string{"./device", "./audio", "./console/session", "./console/web", "./console/wire"},
		Why: "paper shows what is on disk, never what a run is just now"},
	{In: "console/report/page", Never: []string{"./"},
		Why: "a sheet is laid out by one that does not know what stands on it"},
	{In: "console/report/table", Never: []string{"./"},
		Why: "rows and columns are written by one that does not know what they say"},
	{In: "audio/loudness", Never: append([]string{"./audio/speaker", "./audio/level", "./audio/dial"}, notPure...),
		Why: "how loud samples are is reckoned from the samples"},
	{In: "audio/dial", Never: []string{"os", "net", "./audio/speaker", "./audio/level", "./audio/tone", "./audio/voice"},
		Why: "what is turned down is told by the cue's name, whatever sounds it: a stop is never muted"},
}

// Keepers of the libraries.
var Keepers = []Keeper{
	{Library: "go.etcd.io/bbolt", By: []string{"store/bolt"},
		Why: "its caveats are dealt with in one place, and the store can be exchanged"},
	{Library: "github.com/gorilla/websocket", By: []string{"console/hub"}, Tests: true,
		Why: "one place knows deadlines, limits and the single writer; a test may be the client at the other end"},
	{Library: "periph.io", By: []string{"device/gpio", "device/bulb"},
		Why: "its traps with time-outs and errors are dealt with in one place"},
	{Library: "github.com/pelletier/go-toml", By: []string{"cmd"}, Tests: true,
		Why: "the configuration file is read in cmd; a part is configured by its caller"},
	{Library: "github.com/coreos/go-systemd", By: []string{"cmd"},
		Why: "only the daemon as a whole talks to the service manager"},
	{Library: "golang.org/x/mod", By: []string{"console/evidence"},
		Why: "one place knows how the journal is proven"},
	{Library: "filippo.io", By: []string{"console/backup"},
		Why: "one place knows how copies are locked"},
	{Library: "github.com/danielgtaylor/huma", By: []string{"console/api"}, Tests: true,
		Why: "the parts behind the interface do not know that there is one"},
	{Library: "github.com/carlos7ags/folio", By: []string{"console/report/page"}, Tests: true,
		Why: "one place knows how a sheet is laid out"},
	{Library: "github.com/xuri/excelize", By: []string{"console/report/table"}, Tests: true,
		Why: "one place knows how a workbook is written"},
	{Library: "rsc.io/qr", By: []string{"console/report"}, Tests: true,
		Why: "a card's square is drawn where the card is"},
	{Library: "flag", By: []string{"cmd"}, Tests: true,
		Why: "a part is configured by its caller"},
	{Library: "github.com/spf13", By: []string{"cmd"},
		Why: "a part is configured by its caller"},
	{Library: "tallyhood/tests", By: []string{"tests"}, Tests: true,
		Why: "a binary holds no test code"},
	{Library: "C", Why: "one static file for any board, without a C compiler"},
}

// Calls that few may make.
var Calls = []Call{
	{Package: "time", By: []string{"device/clock"}, Tests: true,
		Names: []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "NewTimer", "NewTicker", "Tick"},
		Why:   "time comes through device/clock, so that a whole run can be replayed in virtual time"},
	{Package: "os", By: []string{"cmd"}, Tests: true,
		Names: []string{
			"Args", "Environ", "ExpandEnv", "Getenv", "LookupEnv", "Setenv", "Unsetenv", "Clearenv",
			"UserHomeDir", "UserConfigDir", "UserCacheDir",
		},
		Why: "arguments and environment are read in cmd; a part is configured by its caller"},
	{Package: "syscall", By: []string{"cmd"}, Tests: true,
		Names: []string{"Environ", "Getenv", "Setenv", "Unsetenv", "Clearenv"},
		Why:   "arguments and environment are read in cmd; a part is configured by its caller"},
	{Package: "golang.org/x/sys/unix", By: []string{"cmd"}, Tests: true,
		Names: []string{"Environ", "Getenv", "Setenv", "Unsetenv", "Clearenv"},
		Why:   "arguments and environment are read in cmd; a part is configured by its caller"},
	{Package: "log",
		Names: []string{"Fatal", "Fatalf", "Fatalln"},
		Why:   "an orderly stop saves what is open; log.Fatal stops without it"},
	{Package: "os", By: []string{"cmd"}, Main: true, Tests: true,
		Names: []string{"Exit"},
		Why:   "an orderly stop saves what is open; only main, when all is closed, gives the exit code"},
	{Package: "syscall", Tests: true,
		Names: []string{"Exit"},
		Why:   "an orderly stop saves what is open; only main, when all is closed, gives the exit code"},
	{Package: "golang.org/x/sys/unix", Tests: true,
		Names: []string{"Exit"},
		Why:   "an orderly stop saves what is open; only main, when all is closed, gives the exit code"},
}

// Planned packages are named by a rule and do not exist yet. The mark has to
// go when the package comes.
var Planned = []string{}

// Root is all that may stand in the root beside dot-files.
var Root = []string{
	"README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "Makefile", "go.mod", "go.sum", "cmd", "device", "console", "audio", "store", "hardware-notes", "tests",
}

// maxSource is the largest Go source file in bytes.
const maxSource = 40_000

// vague names say nothing about what a package is for.
var vague = []string{"util", "utils", "common", "helper", "helpers", "manager", "misc", "shared", "base", "lib"}

// A Word stands in no file of the tree.
type Word struct {
	Parts []string // joined; in parts, so that this file does not hold it
	In    string   // only files of this name; empty for all
	Why   string
}

const (
	whyPath = "a path of one machine helps nobody on another"
	whyHost = "where packages are fetched from is the machine's setting, not the project's"
)

// Words that belong to one machine or network.
var Words = []Word{
	{Parts: []string{"/wo", "rk/"}, Why: whyPath},
	{Parts: []string{"/tmp", "/th"}, Why: whyPath},
	{Parts: []string{"proxy.", "golang.org"}, Why: whyHost},
	{Parts: []string{"sum.", "golang.org"}, Why: whyHost},
	{Parts: []string{"registry.", "npmjs.org"}, Why: whyHost},
	{Parts: []string{"registry.", "yarnpkg.com"}, Why: whyHost},
	{Parts: []string{"deb.", "debian.org"}, Why: whyHost},
	{Parts: []string{`"resolved":`}, In: "package-lock.json", Why: whyHost},
}
