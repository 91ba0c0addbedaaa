// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"slices"
	"sync"
)

// A Job is work that takes longer than who asked for it wants to wait.
type Job struct {
	Job    string `json:"job" doc:"Id, to ask for at jobs/{job}." example:"j-5f0c2a9e"`
	Kind   string `json:"kind" doc:"What it does." example:"import"`
	State  string `json:"state" enum:"running,done,failed"`
	Done   int    `json:"done" doc:"Parts that are done."`
	Of     int    `json:"of" doc:"Parts in all; 0 while that is not known."`
	Why    string `json:"why" doc:"Why it failed, as a key; empty otherwise."`
	Detail string `json:"detail" doc:"Why it failed, in a sentence; empty otherwise."`
	Result any    `json:"result" doc:"What the request would have answered; null before the end."`
}

const keptJobs = 32

// A Progress says how far work is.
type Progress func(done, of int)

type jobs struct {
	mu  sync.Mutex
	all []*job // oldest first
}

type job struct {
	Job
	status int // of the failure
	ended  chan struct{}
}

// outcome is what a request that started a job answers: its result, or the job
// while it runs.
type outcome struct {
	Status int
	Body   any
}

// start runs work in the background, one of its kind at a time, and waits for
// it as long as Patience lasts. The work outlives the request: who closes the
// page does not leave half of it.
func (a *api) start(ctx context.Context, kind string, work func(context.Context, Progress) (any, error)) (*outcome, error) {
	j := &job{Job: Job{Kind: kind, State: "running"}, ended: make(chan struct{})}
	var b [8]byte
	if _, err := io.ReadFull(a.cfg.Random, b[:]); err != nil {
		return nil, fmt.Errorf("id of a job: %w", err)
	}
	j.Job.Job = "j-" + hex.EncodeToString(b[:])

	a.jobs.mu.Lock()
	if slices.ContainsFunc(a.jobs.all, func(o *job) bool { return o.Kind == kind && o.State == "running" }) {
		a.jobs.mu.Unlock()
		return nil, problem(http.StatusConflict, WhyBusy, "Something of the kind is under way. Wait for its end.")
	}
	a.jobs.all = append(a.jobs.all, j)
	for i := 0; len(a.jobs.all) > keptJobs && i < len(a.jobs.all); {
		if a.jobs.all[i].State == "running" {
			i++
			continue
		}
		a.jobs.all = slices.Delete(a.jobs.all, i, i+1)
	}
	a.jobs.mu.Unlock()

	go a.work(j, work)
	wait, cancel := context.WithTimeout(ctx, a.cfg.Patience)
	defer cancel()
	select {
	case <-j.ended:
	case <-wait.Done():
	}
	now := a.jobs.copy(j)
	switch now.State {
	case "done":
		return &outcome{http.StatusOK, now.Result}, nil
	case "failed":
		return nil, problem(j.status, now.Why, now.Detail)
	}
	return &outcome{http.StatusAccepted, now}, nil
}

func (a *api) work(j *job, work func(context.Context, Progress) (any, error)) {
	defer close(j.ended)
	result, err := func() (result any, err error) {
		defer func() {
			if recover() != nil {
				err = fmt.Errorf("%s panicked", j.Kind)
			}
		}()
		return work(a.cfg.Life, func(done, of int) {
			a.jobs.mu.Lock()
			defer a.jobs.mu.Unlock()
			j.Done, j.Of = done, of
		})
	}()
	a.jobs.mu.Lock()
	defer a.jobs.mu.Unlock()
	if err != nil {
		p := a.told(j.Kind, err)
		j.State, j.Why, j.Detail, j.status = "failed", p.Why, p.Detail, p.Status
		return
	}
	j.State, j.Result = "done", result
}

func (j *jobs) copy(of *job) Job {
	j.mu.Lock()
	defer j.mu.Unlock()
	return of.Job
}

func (j *jobs) find(id string) (Job, bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, o := range j.all {
		if o.Job.Job == id {
			return o.Job, true
		}
	}
	return Job{}, false
}

// heavy lets few of the answers that take memory or time be made at once.
func (a *api) heavy(ctx context.Context) (done func(), err error) {
	wait, cancel := context.WithTimeout(ctx, heavyPatient)
	defer cancel()
	select {
	case a.slots <- struct{}{}:
		return func() { <-a.slots }, nil
	case <-wait.Done():
		return nil, problem(http.StatusServiceUnavailable, WhyBusy, "The box is busy with other work. Try again in a moment.")
	}
}
