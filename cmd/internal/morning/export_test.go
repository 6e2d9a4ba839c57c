package morning

import (
	"context"

	"example.org/coldseam"
	"example.org/coldseam/forecast"
)

const RefitKind = refitKind

func (mk *Maker) FitRain(ctx context.Context, r coldseam.Reach, f forecast.Inputs) error {
	return mk.fitRain(ctx, r, f)
}
