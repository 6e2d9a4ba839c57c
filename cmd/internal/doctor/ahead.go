package doctor

import (
	"context"
	"fmt"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/notify"
)

// ahead says in one sentence what the next morning will bring: how many mails,
// and which rivers nothing known now keeps from GO.
func (k *checker) ahead(ctx context.Context) {
	day, at, err := k.app.Mail.NextMorning()
	if err != nil || k.app.Env.DB.RequireCurrent(ctx) != nil {
		return // a line above says it
	}
	mails, err := k.app.Mail.GetMail(ctx, day)
	if err != nil {
		return
	}
	reaches, err := k.app.Env.DB.Reaches(ctx)
	if err != nil {
		return
	}

	can, cannot := 0, []string{}
	for _, r := range reaches {
		b, err := k.app.Morning.Ahead(ctx, r, day)
		why := notGo(b)
		if err != nil {
			why = err.Error()
		}
		if why == "" {
			can++
		} else {
			cannot = append(cannot, r.River+": "+env.OneLine(why))
		}
	}

	when := "today"
	if day != coldseam.DateOf(k.now().In(at.Location())) {
		when = "tomorrow"
	}
	k.next = fmt.Sprintf("%s %s: %s, %s can be GO", when, at.Format("15:04"),
		notify.Counted(float64(len(mails)), "mail"), notify.Counted(float64(can), "river"))
	if len(cannot) > 0 {
		k.next += fmt.Sprintf(", %d cannot: %s", len(cannot), strings.Join(cannot, "; "))
	}
}

// notGo is what keeps a morning from GO whatever its odds; "" = nothing.
func notGo(b coldseam.Brief) string {
	for _, x := range append(append([]coldseam.Reason{}, b.Stops...), b.Reasons...) {
		switch x.Kind {
		case verdict.KindSafety, verdict.KindLegal, verdict.KindMissing, verdict.KindCap:
			return notify.ReasonText(x, "", b.Zone)
		}
	}
	return ""
}
