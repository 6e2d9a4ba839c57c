package env

import (
	"context"
	"io"
	"log/slog"
	"time"

	"example.org/coldseam/cmd/internal/config"
)

// Version is set by the linker.
var Version = "dev"

// NewLogger writes JSON lines; the terminal form is for people.
func NewLogger(w io.Writer, level slog.Level) *slog.Logger {
	return slog.New(slog.NewJSONHandler(w,
		&slog.HandlerOptions{Level: level, ReplaceAttr: func(_ []string, at slog.Attr) slog.Attr {
			if at.Value.Kind() == slog.KindDuration { // a person reads 1.2s, not 1200000000
				at.Value = slog.StringValue(at.Value.Duration().Round(time.Millisecond).String())
			}
			return at
		}}))
}

// Streams are the command's outputs, so that tests can read them.
type Streams struct{ Out, Err io.Writer }

// Globals are the flags every command takes.
type Globals struct {
	Config string           `help:"The configuration file." default:"coldseam.toml" env:"COLDSEAM_CONFIG" type:"path"`
	Now    func() time.Time `kong:"-"` // nil = the machine's; tests set it
}

// ExitCode is an error that carries the process's exit status; the text, if
// any, is printed first.
type ExitCode struct {
	Code int
	Text string
}

func (e ExitCode) Error() string { return e.Text }

// Fail ends a command with a status and a line for the terminal.
func Fail(code int, text string) ExitCode { return ExitCode{code, text} }

// Read reads the configuration for one command, whose log goes to the terminal.
func Read(s *Streams, g *Globals, o *Options) (config.Config, error) {
	cfg, err := config.Load(g.Config)
	if err != nil {
		return cfg, Fail(2, err.Error())
	}
	if o.Log == nil {
		o.Log = NewLogger(s.Err, slog.LevelError)
	}
	o.Now = g.Now
	return cfg, nil
}

// OpenFor opens the database for one command.
func OpenFor(ctx context.Context, s *Streams, g *Globals, o Options) (*Env, error) {
	cfg, err := Read(s, g, &o)
	if err != nil {
		return nil, err
	}
	return Open(ctx, cfg, o)
}
