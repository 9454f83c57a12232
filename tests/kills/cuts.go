package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"time"

	"nestmon/tests/kills/disk"
)

// Of power cuts; ours, no source.
const (
	cutWithin = 400              // operations on the disk until most cuts
	cutEarly  = 40               // until a third of them, which fall into the start
	slowest   = 10 * time.Second // a cut that has not come by then is made
	longEvery = 33               // a life in so many lasts longer than the archive may wait
	longLife  = 65 * time.Second
	mayWait   = time.Minute + pollEvery // of the history, the poll under way with it: exporter/archive
)

// cutOff cuts the power under a daemon again and again and judges what is left in the end.
func cutOff(ctx context.Context, rig *rig, name string, cuts int, seed uint64, out *lines) (*verdict, error) {
	hook := listen()
	defer hook.Close()
	b, err := newBoard(rig.program, filepath.Join(rig.dir, name), rig.phone(hook.URL, name))
	if err != nil {
		return nil, err
	}
	random := rand.New(rand.NewPCG(seed, 3))
	l := &load{board: b, ledger: newLedger(), random: rand.New(rand.NewPCG(seed, 4))}
	began, v, inStart, writes := time.Now(), newVerdict(out), 0, 0
	lucks := map[disk.Luck]int{}
	left := disk.Files{}
	for i := range cuts {
		if ctx.Err() != nil {
			cuts = i
			break
		}
		d := disk.New(left)
		until := slowest
		switch {
		case i%longEvery == longEvery-1:
			until = longLife + time.Duration(random.Int64N(int64(slowest)))
		case i%3 == 0:
			d.CutAfter(1 + random.IntN(cutEarly))
		default:
			d.CutAfter(1 + random.IntN(cutWithin))
		}
		polled, err := l.until(ctx, d, until)
		if err != nil {
			return nil, fmt.Errorf("life %d: %w", i, err)
		}
		if !polled {
			inStart++
		}
		luck := disk.Luck(random.IntN(int(disk.Lucks)))
		lucks[luck]++
		writes += d.Ops()
		left = d.Image(luck, random)
		if (i+1)%20 == 0 {
			fmt.Fprintf(out, "%s: %d cuts in %s: %s\n", name, i+1, time.Since(began).Round(time.Second), l.ledger)
		}
	}
	d := disk.New(left)
	unmount, err := d.Mount(b.data)
	if err != nil {
		return nil, err
	}
	if err := errors.Join(calm(l), unmount()); err != nil {
		return nil, err
	}
	whole := filepath.Join(rig.dir, name+"-left")
	if err := lay(whole, d.Now()); err != nil {
		return nil, err
	}
	if err := v.judge(whole, l.ledger); err != nil {
		return nil, err
	}
	fmt.Fprintf(out, "%s: seed %d, %d cuts after %d operations, %d of them before the first poll; of what was not synced was kept: nothing %d, all %d, a beginning %d, any of it %d times: %s\n",
		name, seed, cuts, writes, inStart, lucks[disk.Nothing], lucks[disk.All], lucks[disk.Beginning], lucks[disk.Any], l.ledger)
	return v, nil
}

// until lets a daemon live on the disk until the power is cut, and says whether anybody saw a poll.
func (l *load) until(ctx context.Context, d *disk.Disk, most time.Duration) (polled bool, err error) {
	if err := l.dress(); err != nil {
		return false, err
	}
	unmount, err := d.Mount(l.board.data)
	if err != nil {
		return false, err
	}
	defer func() {
		if uerr := unmount(); err == nil {
			err = uerr
		}
	}()
	before := len(l.ledger.readings)
	if err := l.board.start(); err != nil {
		return false, err
	}
	living, end := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() { l.run(living); close(done) }()
	select {
	case <-d.Dead():
	case <-time.After(most):
	case <-l.board.ended:
	}
	alive, at := l.board.lives(), time.Now()
	cut := !alive && d.Ops() > 0 // with the power gone it may have ended by itself
	select {
	case <-d.Dead():
		cut = true
	default:
	}
	d.Cut()
	l.board.kill()
	end()
	<-done
	l.ledger.cut(at, mayWait)
	if !alive && !cut {
		return false, fmt.Errorf("it ended by itself: %s", l.board.log.String())
	}
	return len(l.ledger.readings) > before, nil
}
