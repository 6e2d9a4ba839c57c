package thermal

import (
	_ "embed"
	"encoding/csv"
	"strconv"
	"strings"
)

//go:embed prior.csv
var priorCSV string

// The nodes at which prior.csv holds coefficients; between them they are
// interpolated by lead and day of the year, and nodes of state are stateNodes.
var priorLeads = [...]int{1, 2, 3, 5, 7, 10}

const (
	priorStep = 52 // days between season nodes
	priorDays = 7
)

// priorKey names a line of prior.csv: the length of record, the air mode and the
// indices of the nodes.
type priorKey struct {
	record           string
	mode             int
	lead, day, state int
}

// prior are the coefficients that a river's own regression starts from: what
// the rivers of the public records have in common. TestPrior learns them.
type prior map[priorKey][]float64

// learnt reads prior.csv, once a fit. It panics only if the file shipped with the
// program is broken, which its test rules out.
func learnt() prior {
	r := csv.NewReader(strings.NewReader(priorCSV))
	r.Comment, r.FieldsPerRecord = '#', -1
	lines, err := r.ReadAll()
	if err != nil {
		panic(err)
	}

	p := prior{}
	for _, line := range lines[1:] {
		x := make([]float64, len(line)-1)
		for i, s := range line[1:] {
			if x[i], err = strconv.ParseFloat(s, 64); err != nil {
				panic(err)
			}
		}
		p[priorKey{line[0], int(x[0]), int(x[1]), int(x[2]), int(x[3])}] = x[4:]
	}
	return p
}

// at are the coefficients for lead h, a day of the year and a state node.
func (p prior) at(k priorKey, h, doy int) []float64 {
	for k.lead < len(priorLeads)-2 && h >= priorLeads[k.lead+1] {
		k.lead++
	}
	a, b := priorLeads[k.lead], priorLeads[k.lead+1]
	late := float64(h-a) / float64(b-a)
	k.day = min((doy-1)/priorStep, priorDays-1)
	end := priorStep
	if k.day == priorDays-1 {
		end = 366 - k.day*priorStep
	}
	on := float64(doy-1-k.day*priorStep) / float64(end)

	next := k
	next.day = (k.day + 1) % priorDays
	out := make([]float64, len(p[k]))
	for _, c := range []struct {
		key   priorKey
		share float64
	}{{k, 1 - on}, {next, on}} {
		early, then := p[c.key], c.key
		then.lead++
		for i := range out {
			out[i] += c.share * ((1-late)*early[i] + late*p[then][i])
		}
	}
	return out
}
