package alike

import "context"

// inOrder lets workers work on jobs and takes their results in the order of the
// jobs, with a bounded number under way. produce calls give for each job until that
// returns false; take is called by the caller's goroutine.
func inOrder[W, J, R any](ctx context.Context, workers []W, produce func(give func(J) bool) error, work func(W, J) (R, error), take func(R) error) error {
	outer := ctx
	ctx, cancel := context.WithCancel(outer)
	type result struct {
		r   R
		err error
	}
	type task struct {
		in  J
		out chan result
	}
	tasks := make(chan task)
	order := make(chan task, 4*len(workers))
	made := make(chan error, 1)
	done := make(chan struct{}, len(workers))
	go func() {
		err := produce(func(j J) bool {
			t := task{j, make(chan result, 1)}
			for _, c := range []chan task{order, tasks} {
				select {
				case c <- t:
				case <-ctx.Done():
					return false
				}
			}
			return true
		})
		close(tasks)
		close(order)
		made <- err
	}()
	for _, w := range workers {
		go func() {
			defer func() { done <- struct{}{} }()
			for t := range tasks {
				r, err := work(w, t.in)
				t.out <- result{r, err}
			}
		}()
	}
	var err error
	for t := range order {
		if err != nil {
			continue
		}
		select {
		case res := <-t.out:
			if err = res.err; err == nil {
				err = take(res.r)
			}
		case <-ctx.Done():
			err = ctx.Err()
		}
		if err != nil {
			cancel()
		}
	}
	cancel()
	// The workers read through views that the caller closes.
	for range workers {
		<-done
	}
	if merr := <-made; err == nil {
		err = merr
	}
	if err == nil {
		err = outer.Err()
	}
	return err
}
