// Command coldseam fetches public river gauges, forecasts flow and water
// temperature, and mails a morning go/no-go before dawn.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"syscall"
	"time"
	_ "time/tzdata" // the club's zones, also where the machine has none

	"github.com/alecthomas/kong"

	"example.org/coldseam/cmd/internal/env"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(execute(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// systemConfig is where a package puts the configuration; it counts where nobody
// named one and the working directory has none.
const systemConfig = "/etc/coldseam/coldseam.toml"

// given reports that a flag or the environment names the configuration.
func given(k *kong.Context) bool {
	_, named := os.LookupEnv("COLDSEAM_CONFIG")
	return named || slices.ContainsFunc(k.Path, func(p *kong.Path) bool {
		return p.Flag != nil && p.Flag.Name == "config"
	})
}

// execute parses args and runs one sub-command. It returns the exit status: 0 done,
// 1 the command could not do it, 2 it was called wrongly or a need is missing.
func execute(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	return executeAt(ctx, nil, args, stdout, stderr)
}

// executeAt does so by another clock; nil = the machine's.
func executeAt(ctx context.Context, now func() time.Time, args []string, stdout, stderr io.Writer) int {
	var c cli
	c.Now = now
	parser, err := kong.New(&c, kong.Name("coldseam"), kong.Description(about),
		kong.WithHyphenPrefixedParameters(true), kong.Writers(stdout, stderr),
		kong.BindTo(ctx, (*context.Context)(nil)),
		kong.Bind(&env.Streams{Out: stdout, Err: stderr}, &c.Globals))
	if err != nil {
		fmt.Fprintln(stderr, "coldseam:", err)
		return 2
	}

	k, err := parser.Parse(args)
	if err != nil {
		fmt.Fprintln(stderr, "coldseam:", err)
		return 2
	}
	if !given(k) && !env.Exists(c.Config) && env.Exists(systemConfig) {
		c.Config = systemConfig
	}

	err = k.Run()
	var ec env.ExitCode
	switch {
	case err == nil:
		return 0
	case errors.As(err, &ec):
		if ec.Text != "" {
			fmt.Fprintln(stderr, "coldseam:", ec.Text)
		}
		return ec.Code
	}

	fmt.Fprintln(stderr, "coldseam:", err)
	return 1
}
