package loop_test

import (
	"context"
	"fmt"
	"log/slog"
	"sync/atomic"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/loop"
	"fumarium/controller/snapshot"
	"fumarium/profile"
	"fumarium/sensors"
)

// shed is a world with one probe, in which nothing is fitted.
type shed struct{ on atomic.Bool }

func (*shed) Sample(time.Duration) (in controller.Inputs) {
	in.Chamber[0] = sensors.At(18)
	return in
}

func (s *shed) Drive(out controller.Outputs) error {
	s.on.Store(out.On != 0)
	return nil
}

func (*shed) Hang(*profile.Product) error { return nil }

// The loop steps until it is told to end, takes commands in between, and leaves
// everything off.
func ExampleLoop_Run() {
	cabinet, _ := shipped.Find("steel-box")
	world := &shed{}
	l, err := loop.New(loop.Config{World: world, Cabinet: cabinet.Value, Pace: 100, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		fmt.Println(err)
		return
	}
	ctx, end := context.WithCancel(context.Background())
	ended := make(chan error)
	go func() { ended <- l.Run(ctx) }()
	reply, err := l.Do(ctx, snapshot.Request{Command: controller.Command{Kind: controller.Hold}, Who: "the example"})
	fmt.Println(reply.Accepted, reply.Why, err)
	end()
	fmt.Println(<-ended, world.on.Load())
	// Output:
	// false not possible in this state of the batch <nil>
	// <nil> false
}
