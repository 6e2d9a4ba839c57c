package brieftest

import "example.org/coldseam"

func holds(p ...float64) []coldseam.SizeOdds {
	var out []coldseam.SizeOdds
	for i, v := range p {
		out = append(out, coldseam.SizeOdds{Oz: coldseam.TradeSizesOz[i], Holds: v})
	}
	return out
}

func critical(m3s ...float64) []coldseam.SizeFlow {
	var out []coldseam.SizeFlow
	for i, v := range m3s {
		out = append(out, coldseam.SizeFlow{Oz: coldseam.TradeSizesOz[i], M3S: v})
	}
	return out
}

func tamsenJigs() []coldseam.SpotJig {
	seam := coldseam.SpotJig{
		SpotID:       "main-seam",
		Spot:         "main seam",
		Kind:         coldseam.SpotSeam,
		DepthM:       18 * coldseam.MetrePerFoot,
		SurfaceMS:    .62,
		ColumnMS:     []float64{.62, .6, .57, .53, .47},
		Presentation: "quartering",
		Body:         "flutter",
		Line:         "braid-0.14",
		MinOz:        .19,
		TieOz:        .25,
		PackOz:       .375,
		NextOz:       .375,
		Holds:        holds(.01, .09, .38, .71, .93, .98, .99, 1, 1),
		TieHolds:     .71,
		AngleDeg:     31,
		BowPct:       4,
		SlackM:       .5,
		SinkS:        8,
		LineLies: coldseam.Reason{Code: "line_lies", Names: map[string]string{"lie": "leaning"},
			Values: map[string]float64{"angle_deg": 31, "line_out_m": 6.4, "bow_cm": 25, "slack_cm": 6}},
		Leader:      coldseam.Reason{Code: "leader", Values: map[string]float64{"short_m": .61, "long_m": .91}},
		Costs:       coldseam.Notes{cost("nylon-0.28", .375), cost("bulky", .3125)},
		Logs:        2,
		CriticalM3S: critical(22, 41, 58, 79, 112, 150, 185, 220, 280),
	}
	hole := seam
	hole.SpotID, hole.Spot, hole.Kind, hole.DepthM = "bend-hole", "bend hole, deep", coldseam.SpotHole,
		22*coldseam.MetrePerFoot

	hole.TieOz, hole.PackOz, hole.NextOz, hole.TieHolds = .375, .5, .5, .78
	hole.Holds = holds(0, .02, .15, .49, .78, .94, .98, .99, 1)
	hole.CriticalM3S = critical(15, 31, 45, 63, 92, 124, 155, 188, 240)
	hole.Calibrated, hole.Logs = true, 7
	hole.Warnings = []coldseam.Reason{{Code: "pressure", Kind: "caution",
		Text: "22 ft: bring fish up slowly; agencies warn of pressure injury from about 30 ft"}}
	dunes := seam
	dunes.SpotID, dunes.Spot, dunes.Kind, dunes.DepthM = "dune-crests", "dune crests", coldseam.SpotDunes,
		11*coldseam.MetrePerFoot
	dunes.TieOz, dunes.PackOz, dunes.NextOz, dunes.TieHolds = .1875, .25, .25, .74
	dunes.Holds = holds(.06, .41, .74, .92, .98, 1, 1, 1, 1)

	dunes.CriticalM3S = critical(33, 57, 80, 104, 141, 180, 214, 250, 310)
	dunes.Dunes = coldseam.Reason{Code: "bed_dunes", Values: map[string]float64{"low_m": .35, "high_m": .55,
		"apart_m": 18}}
	slack := seam
	slack.SpotID, slack.Spot, slack.Kind, slack.DepthM = "rock-slack", "slack by the rocks", coldseam.SpotSlack,
		6*coldseam.MetrePerFoot
	slack.TieOz, slack.PackOz, slack.NextOz, slack.TieHolds = .125, .125, .1875, .93
	slack.Holds = holds(.62, .93, .98, 1, 1, 1, 1, 1, 1)
	slack.CriticalM3S = critical(70, 118, 160, 205, 270, 330, 390, 440, 540)
	mid := seam
	mid.SpotID, mid.Spot, mid.Kind, mid.DepthM = "mid-run", "middle run", coldseam.SpotMain, 0
	mid.TieOz, mid.PackOz, mid.NextOz, mid.TieHolds, mid.Holds, mid.CriticalM3S = 0, 0, 0, 0, nil, nil
	mid.Withheld = coldseam.Reason{Code: "no_depth", Names: map[string]string{"case": "unsounded"}}
	return []coldseam.SpotJig{seam, hole, dunes, slack, mid}
}

func cost(gear string, oz float64) coldseam.Reason {
	return coldseam.Reason{Code: "cost", Names: map[string]string{"gear": gear},
		Values: map[string]float64{"size_oz": oz}}
}

func run(arrived, spawned float64, stage string, p, wave float64) coldseam.RunState {
	r := coldseam.RunState{
		Species:    "walleye",
		Active:     true,
		PWave:      wave,
		PWave3d:    min(wave+.25, .95),
		Arrived:    [3]float64{max(arrived-.15, 0), arrived, min(arrived+.2, 1)},
		Spawned:    [3]float64{0, spawned, spawned + .04},
		Stage:      stage,
		StageP:     p,
		StageProbs: map[string]float64{stage: p},
		HoleLoad:   .5,
		Holes:      coldseam.Reason{Code: "holes_filling", Values: map[string]float64{"load_peak": .5}},
		PSpent:     .02,
		PRefill:    .4,
		Index:      .41,
		MostLike:   []int{2019},
	}
	order := []string{"not yet", "staging", "moving", "spawning", "dropping back", "done"}
	for i, s := range order {
		if s == stage {
			if i > 0 {
				r.StageProbs[order[i-1]] = 1 - p
			} else {
				r.StageProbs[order[1]] = 1 - p
			}
		}
	}

	for d := range 8 {
		x := min(arrived+.05*float64(d), 1)
		r.Days = append(r.Days, coldseam.RunDay{
			Day:     Day.Add(d),
			PWave:   []float64{wave, .6, .3, .2, .2, .3, .4, .4}[d],
			Arrived: [3]float64{max(x-.15, 0), x, min(x+.2, 1)},
			Spawned: [3]float64{0, spawned + .01*float64(d), spawned + .02*float64(d)},
			Stage:   stage,
			StageP:  p,
		})
	}

	return r
}
