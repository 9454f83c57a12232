package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"time"
)

// Of a life before its end, beside what it takes to start; ours, no source. Most fall into the first poll and the entries, some wait for a second poll.
const (
	inStart  = 300 * time.Millisecond
	inFirst  = 1200 * time.Millisecond
	nextPoll = 7 * time.Second
)

// lifetime is how long a life lasts at most.
func lifetime(random *rand.Rand) time.Duration {
	most := inFirst
	switch n := random.IntN(10); {
	case n < 3:
		most = inStart
	case n == 9:
		most = nextPoll
	}
	return time.Duration(random.Int64N(int64(most)))
}

// killed kills a daemon under load again and again and judges what it leaves.
func killed(ctx context.Context, rig *rig, name string, kills int, seed uint64, out *lines) (*verdict, error) {
	hook := listen()
	defer hook.Close()
	b, err := newBoard(rig.program, filepath.Join(rig.dir, name), rig.phone(hook.URL, name))
	if err != nil {
		return nil, err
	}
	random := rand.New(rand.NewPCG(seed, 1))
	l := &load{board: b, ledger: newLedger(), random: rand.New(rand.NewPCG(seed, 2))}
	began := time.Now()
	for i := range kills {
		if ctx.Err() != nil { // whoever interrupts it sees what was found until then
			kills = i
			break
		}
		if err := l.dress(); err != nil {
			return nil, err
		}
		if err := b.start(); err != nil {
			return nil, err
		}
		living, end := context.WithCancel(ctx)
		done := make(chan struct{})
		go func() { l.run(living); close(done) }()
		if random.IntN(4) > 0 { // else in its start, most likely
			l.awaitReading(patience)
		}
		time.Sleep(lifetime(random))
		if !b.lives() {
			end()
			return nil, fmt.Errorf("life %d ended by itself: %s", i, b.log.String())
		}
		b.kill()
		end()
		<-done
		if (i+1)%100 == 0 {
			fmt.Fprintf(out, "%s: %d kills in %s: %s\n", name, i+1, time.Since(began).Round(time.Second), l.ledger)
		}
	}
	if err := calm(l); err != nil {
		return nil, err
	}
	v := newVerdict(out)
	if err := v.judge(b.data, l.ledger); err != nil {
		return nil, err
	}
	v.heard(b.data, hook, l.hot >= calledBy)
	fmt.Fprintf(out, "%s: seed %d, %d kills: %s; %s\n", name, seed, kills, l.ledger, hook)
	return v, nil
}

// calm is the last life: two polls without a load, and a stop.
func calm(l *load) error {
	if err := l.dress(); err != nil {
		return err
	}
	began := time.Now()
	if err := l.board.start(); err != nil {
		return err
	}
	s, err := l.board.until(reads(began))
	if err == nil {
		l.ledger.saw(s)
		s, err = l.board.until(reads(time.Now()))
	}
	if err != nil {
		l.board.kill()
		return fmt.Errorf("the last start: %w", err)
	}
	l.ledger.saw(s)
	time.Sleep(3 * time.Second) // what is owed to the phone goes out
	if _, code := l.board.stop(); code != 0 {
		return fmt.Errorf("it stopped with exit code %d: %s", code, l.board.log.String())
	}
	return nil
}
