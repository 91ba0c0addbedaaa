// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"errors"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"tallyhood/console/evidence"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/store"
)

// A Problem is an answer that says why something was not done (RFC 9457). Why
// is a key for the page's words; Detail is a sentence for whoever reads it raw.
type Problem struct {
	Type   string  `json:"type,omitempty" doc:"Kind of problem; always about:blank, the field why tells more."`
	Title  string  `json:"title" doc:"The HTTP status in words."`
	Status int     `json:"status" doc:"The HTTP status."`
	Detail string  `json:"detail" doc:"A sentence."`
	Why    string  `json:"why" doc:"Why it was not done, as a key."`
	Errors []Fault `json:"errors,omitempty" doc:"What is wrong with a request, place by place."`
}

// A Fault is one thing that is wrong with a request. The value itself is not
// given back: it may be about a person.
type Fault struct {
	Message  string `json:"message" doc:"What is wrong."`
	Location string `json:"location" doc:"Where, such as body.form.name."`
}

// Error implements error.
func (p *Problem) Error() string { return p.Detail }

// GetStatus implements huma.StatusError.
func (p *Problem) GetStatus() int { return p.Status }

// ContentType implements huma.ContentTypeFilter.
func (p *Problem) ContentType(string) string { return typeProblem }

const typeProblem = "application/problem+json"

func problem(status int, why, detail string) *Problem {
	return &Problem{Type: "about:blank", Title: http.StatusText(status), Status: status, Why: why, Detail: detail}
}

// Keys of Why beside those of programme.Refused.
const (
	WhyMalformed   = "malformed"    // the request is not in the form that is described
	WhyNotKnown    = "not_known"    // there is no such person, run or path
	WhyErased      = "erased"       // the person was erased, and what was sealed cannot be opened
	WhyMethod      = "method"       // the path knows other methods
	WhyOrigin      = "origin"       // the request comes from another page, or does not say from which
	WhyContentType = "content_type" // the body is of another type
	WhyTooLarge    = "too_large"    // the body is larger than is taken
	WhyRunOpen     = "run_open"     // it waits for the end of a run
	WhyRunShown    = "run_shown"    // the person's run has ended and still stands on the Bench
	WhyUncleaned   = "uncleaned"    // the person was erased, and is still in the file that could not be written anew
	WhyBusy        = "busy"         // something of the kind is under way
	WhyTooSlow     = "too_slow"     // it took longer than it may
	WhyNotSaved    = "not_saved"    // nothing can be saved now
	WhySaved       = "saved"        // it was saved, and what shows it could not be brought up to date
	WhyClockUnset  = "clock_unset"  // it needs a clock that can be trusted
	WhyNotThere    = "not_there"    // this box does not do that
	WhyNotFirst    = "not_first"    // only a box without records is restored
	WhyFailed      = "failed"       // the fault is the box's
)

// ErrNotThere: a part does not do what was asked of it.
var ErrNotThere = errors.New("this box does not do that")

var whyOf = map[int]string{
	http.StatusNotFound: WhyNotKnown, http.StatusMethodNotAllowed: WhyMethod, http.StatusForbidden: WhyOrigin,
	http.StatusRequestTimeout: WhyTooSlow, http.StatusRequestEntityTooLarge: WhyTooLarge,
	http.StatusUnsupportedMediaType: WhyContentType, http.StatusUnprocessableEntity: WhyMalformed,
	http.StatusServiceUnavailable: WhyBusy,
}

func init() {
	// huma keeps the making of errors in a variable. This package alone imports
	// it, so nobody else is surprised.
	huma.NewError = newError
}

// newError makes the problems that huma finds in a request.
func newError(status int, detail string, errs ...error) huma.StatusError {
	if status == http.StatusBadRequest || status == 0 {
		status = http.StatusUnprocessableEntity
	}
	why := whyOf[status]
	if why == "" {
		why = WhyFailed
	}
	p := problem(status, why, detail)
	if status >= http.StatusInternalServerError {
		p.Detail = "This did not work. The log says more."
		return p
	}
	for _, err := range errs {
		var d huma.ErrorDetailer
		switch {
		case err == nil:
		case errors.As(err, &d):
			p.Errors = append(p.Errors, Fault{d.ErrorDetail().Message, d.ErrorDetail().Location})
		default:
			p.Errors = append(p.Errors, Fault{"the body cannot be read", "body"})
		}
	}
	return p
}

// problemOf says what an error of a part comes to for who asked.
func problemOf(err error) *Problem {
	var p *Problem
	var refused programme.Refused
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &p):
		return p
	case errors.Is(err, programme.ErrUncleaned):
		return problem(http.StatusConflict, WhyUncleaned, "Erased from every list, but the file on the card still holds the name and its key, since it could not be written anew. Make room on the card and erase again; the box also tries by itself while no run is open, and at each start.")
	case errors.Is(err, programme.ErrSaved):
		return problem(http.StatusInternalServerError, WhySaved, "This is saved, but cannot be shown yet. Do not enter it again. The log says more.")
	case errors.As(err, &refused):
		if refused.Why == WhyNotKnown {
			return problem(http.StatusNotFound, refused.Why, refused.Text)
		}
		return problem(http.StatusConflict, refused.Why, refused.Text)
	case errors.As(err, &large):
		return tooLarge()
	case errors.Is(err, sealing.ErrErased):
		return problem(http.StatusNotFound, WhyErased, "This person was erased.")
	case errors.Is(err, store.ErrNotFound):
		return problem(http.StatusNotFound, WhyNotKnown, "There is no such thing here.")
	case errors.Is(err, ErrNotThere):
		return problem(http.StatusNotImplemented, WhyNotThere, "This box does not do that.")
	case errors.Is(err, evidence.ErrNoKey):
		return problem(http.StatusNotImplemented, WhyNotThere, "This box has no key to sign with.")
	case errors.Is(err, store.ErrInvalid), errors.Is(err, sealing.ErrInvalid):
		return problem(http.StatusUnprocessableEntity, WhyMalformed, "This cannot be stored.")
	case errors.Is(err, store.ErrFailed), errors.Is(err, store.ErrClosed), errors.Is(err, store.ErrReadOnly):
		return problem(http.StatusServiceUnavailable, WhyNotSaved, "Nothing can be saved now.")
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
		return problem(http.StatusServiceUnavailable, WhyTooSlow, "This took longer than it may.")
	}
	return problem(http.StatusInternalServerError, WhyFailed, "This did not work. The log says more.")
}
