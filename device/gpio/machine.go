// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"time"

	"golang.org/x/sys/unix"
)

// A machine is what the package needs of the machine that it runs on. Tests
// bring their own.
type machine interface {
	// chips lists what is there now. It returns the chips that it could read
	// also when others gave an error.
	chips() ([]Chip, error)
	// edges requests lines of a chip as inputs, all at once.
	edges(Chip, []asked) (request, error)
	// output requests a line as an output that has a level from the start.
	output(c Chip, offset int, high bool) (output, error)
	// present tells whether the chip's device node is still there.
	present(Chip) bool
}

// asked is one line of a request.
type asked struct {
	offset int
	pull   Pull
}

// A request is a set of lines that the kernel has granted. await is called by
// one goroutine; the others are called by one at a time, also while await
// waits.
type request interface {
	// await returns when drain may have something, and after interrupt always.
	await() error
	// drain hands over what the kernel holds, oldest first, without waiting
	// for anything to happen. more says that it stopped at its limit.
	drain(func(event)) (more bool, err error)
	// levels reads the lines, bit i for line i of the request, high is 1.
	levels() (uint64, error)
	// interrupt ends await, this one and all later ones.
	interrupt()
	// close releases the lines. await has to have returned for good.
	close() error
}

// An event is one edge as a reader tells it.
type event struct {
	index int // of the line in the request
	high  bool
	at    time.Duration // on the board's clock
	// missing is how many earlier events of the line were dropped; -1 says
	// that some may have been.
	missing int
}

type output interface {
	set(high bool) error
	close() error
}

// errInterrupted is what await returns after interrupt.
var errInterrupted = errors.New("interrupted")

// errGone is a chip that is not there any more.
var errGone = errors.New("the chip is gone")

// gone tells whether an error says that the chip has been taken away.
func gone(err error) bool {
	return errors.Is(err, errGone) || errors.Is(err, unix.ENODEV) || errors.Is(err, unix.ENXIO)
}

// linux is the machine that the program runs on.
type linux struct {
	clock  Clock
	reader string
	buffer int
	looked bool // periph's findings have been used; what changed since, it does not know
}

func (l *linux) chips() ([]Chip, error) {
	if first := paths(); !l.looked && len(first) > 0 {
		l.looked = true
		return readChips(first)
	}
	return Probe()
}

// Probe lists the GPIO chips of this machine as they are now. It returns the
// chips that it could read also when others gave an error.
func Probe() ([]Chip, error) {
	nodes, err := filepath.Glob("/dev/gpiochip*")
	if err != nil {
		return nil, err
	}
	return readChips(nodes)
}

func readChips(nodes []string) ([]Chip, error) {
	var chips []Chip
	var errs []error
	seen := map[string]bool{}
	for _, node := range nodes {
		c, err := readChip(node)
		switch {
		case errors.Is(err, os.ErrNotExist):
		case err != nil:
			errs = append(errs, err)
		case !seen[c.Name]: // some systems have two nodes for one chip
			seen[c.Name] = true
			chips = append(chips, c)
		}
	}
	sort.Slice(chips, func(i, j int) bool { return chips[i].Path < chips[j].Path })
	return chips, errors.Join(errs...)
}

func openChip(node string) (int, error) {
	for {
		fd, err := unix.Open(node, unix.O_RDONLY|unix.O_CLOEXEC|unix.O_NONBLOCK, 0)
		switch {
		case err == nil:
			return fd, nil
		case errors.Is(err, unix.EINTR):
		case errors.Is(err, os.ErrPermission):
			return 0, fmt.Errorf("%s may not be opened: the program's user has no right to it (%w)", node, err)
		default:
			return 0, fmt.Errorf("open %s: %w", node, err)
		}
	}
}

func readChip(node string) (Chip, error) {
	fd, err := openChip(node)
	if err != nil {
		return Chip{}, err
	}
	defer unix.Close(fd)
	var info chipInfo
	if err := ioctl(fd, getChipInfo, &info); err != nil {
		return Chip{}, fmt.Errorf("%s does not answer as a GPIO chip: %w", node, err)
	}
	c := Chip{Name: text(info.name[:]), Label: text(info.label[:]), Path: node}
	if c.Label == "" {
		c.Label = c.Name
	}
	for i := range info.lines {
		line := lineInfo{offset: i}
		if err := ioctl(fd, getLineInfo, &line); err != nil {
			return Chip{}, fmt.Errorf("line %d of %s: %w", i, node, err)
		}
		c.Lines = append(c.Lines, LineInfo{
			Offset: int(i), Name: text(line.name[:]), Consumer: text(line.consumer[:]),
			Used: line.flags&flagUsed != 0, Output: line.flags&flagOutput != 0,
		})
	}
	return c, nil
}

// ask requests lines of a chip and returns the descriptor of the request. It
// looks first whether the node still belongs to that chip.
func ask(c Chip, r *lineRequest) (int, error) {
	fd, err := openChip(c.Path)
	if err != nil {
		return 0, err
	}
	defer unix.Close(fd)
	var info chipInfo
	if err := ioctl(fd, getChipInfo, &info); err != nil {
		return 0, fmt.Errorf("%s does not answer as a GPIO chip: %w", c.Path, err)
	}
	if l := text(info.label[:]); text(info.name[:]) != c.Name || l != c.Label && l != "" {
		return 0, fmt.Errorf("%s is another chip now: %s, not %s", c.Path, l, c.Label)
	}
	copy(r.consumer[:maxName-1], consumerName)
	if err := ioctl(fd, getLine, r); err != nil {
		return 0, fmt.Errorf("request lines of %s: %w", c.Label, err)
	}
	if err := unix.SetNonblock(int(r.fd), true); err != nil {
		unix.Close(int(r.fd))
		return 0, err
	}
	return int(r.fd), nil
}

// inputs is the request for lines as inputs with both edges.
func inputs(lines []asked, buffer int, none uint64) (*lineRequest, error) {
	if len(lines) == 0 || len(lines) > maxLines {
		return nil, fmt.Errorf("%d lines in one request; the kernel takes from 1 to %d", len(lines), maxLines)
	}
	if buffer <= 0 {
		buffer = maxBuffer
	}
	r := &lineRequest{numLines: uint32(len(lines)), buffer: uint32(buffer)}
	const plain = flagInput | flagRising | flagFalling
	r.config.flags = plain | none
	masks := map[uint64]uint64{} // lines by bias
	for i, l := range lines {
		r.offsets[i] = uint32(l.offset)
		switch l.pull {
		case PullUp:
			masks[flagPullUp] |= 1 << i
		case PullDown:
			masks[flagPullDown] |= 1 << i
		case PullNone, "":
		default:
			return nil, fmt.Errorf("the pull %q is none of up, down and none", l.pull)
		}
	}
	for _, bias := range []uint64{flagPullUp, flagPullDown} {
		if masks[bias] == 0 {
			continue
		}
		r.config.attrs[r.config.numAttrs] = configAttr{lineAttr{id: attrFlags, value: plain | bias}, masks[bias]}
		r.config.numAttrs++
	}
	return r, nil
}

func (l *linux) edges(c Chip, lines []asked) (request, error) {
	if l.reader == Periph {
		return periphEdges(c, lines, l.clock)
	}
	// A chip that cannot switch its pulls off may refuse to be asked for it.
	var fd int
	var err error
	for _, none := range []uint64{flagNoPull, 0} {
		var r *lineRequest
		if r, err = inputs(lines, l.buffer, none); err != nil {
			return nil, err
		}
		if fd, err = ask(c, r); err == nil || errors.Is(err, unix.EBUSY) {
			break
		}
	}
	if err != nil {
		return nil, err
	}
	p, err := newFilePort(fd, c.Name)
	if err != nil {
		return nil, err
	}
	return newKernelRequest(p, lines, l.clock), nil
}

func (l *linux) present(c Chip) bool {
	_, err := os.Lstat(c.Path)
	return !errors.Is(err, os.ErrNotExist)
}

func (l *linux) output(c Chip, offset int, high bool) (output, error) {
	r := &lineRequest{numLines: 1}
	r.offsets[0] = uint32(offset)
	// The first level is part of the request: a lamp that is on while its line
	// is low must not flash when the line becomes an output.
	r.config.flags = flagOutput
	r.config.numAttrs = 1
	r.config.attrs[0] = configAttr{lineAttr{id: attrValues, value: bit(high)}, 1}
	fd, err := ask(c, r)
	if err != nil {
		return nil, err
	}
	return fileOutput(fd), nil
}

func bit(high bool) uint64 {
	if high {
		return 1
	}
	return 0
}

// fileOutput is the descriptor of an output's request.
type fileOutput int

func (o fileOutput) set(high bool) error {
	return ioctl(int(o), setValues, &lineValues{bits: bit(high), mask: 1})
}

func (o fileOutput) close() error { return unix.Close(int(o)) }
