package flush

import (
	"latewood/events/civil"
	"latewood/projections"
)

// stages estimates the shares of terminals by stage out of the draws: each knows its last break, or that there was none.
func (r *told) stages() []StageShare {
	out := []StageShare{{Still, 0}, {Breaking, 0}, {Elongating, 0}, {Expanding, 0}, {Hardened, 0}}
	total := 0.0
	i := 0
	for k := range r.strands {
		s := &r.strands[k]
		if !r.ticks[k] {
			continue
		}
		for n := range r.perStrand {
			d, w := &r.draws[i+n], r.weights[i+n]
			stage := Still
			if len(d.past) > 0 || s.phase == broke {
				stage = grown(d.run, d.params)
			}
			for x := range out {
				if out[x].Stage == stage {
					out[x].Share += w
				}
			}
			total += w
		}
		i += r.perStrand
	}
	for x := range out {
		out[x].Share = round(out[x].Share/max(total, 1e-12), 2)
	}
	return out
}

// grown is the stage x degree-days after a break.
func grown(x float64, p Params) Stage {
	switch {
	case x < breakingTo*p.Grow:
		return Breaking
	case x < elongatingTo*p.Grow:
		return Elongating
	case x < p.Grow:
		return Expanding
	}
	return Hardened
}

// freshLook is how many days a look speaks for by itself.
const freshLook = 10

// stage says where the block stands: as seen where somebody looked lately or the clock agrees, else as estimated.
func (r *told) stage(out *Block) {
	var top *strand
	which := 0
	for i := range r.strands {
		if s := &r.strands[i]; top == nil || s.weight > top.weight {
			top, which = s, i
		}
	}
	if top == nil {
		return
	}
	if r.running > 0 {
		out.Terminals = r.stages()
	}
	seen := func() {
		if top.stage != "" {
			out.Stage, out.StageSince, out.StageFrom = top.stage, top.since.String(), "seen"
		}
	}
	if !r.ticks[which] {
		seen()
		return
	}
	best := out.Terminals[0]
	for _, s := range out.Terminals {
		if s.Share > best.Share {
			best = s
		}
	}
	agrees := top.stage == string(best.Stage) || top.stage == "dormant" && best.Stage == Hardened
	if top.stage != "" && (agrees || r.on.Sub(top.looked) <= freshLook) {
		seen()
		return
	}
	out.Stage, out.StageFrom = string(best.Stage), "estimate"
	if since := r.since(best.Stage); !since.IsZero() {
		out.StageSince = since.String()
	}
}

// since is the middle day on which the draws that are in a stage entered it.
func (r *told) since(stage Stage) civil.Date {
	var days []weighted
	i := 0
	for k := range r.strands {
		s := &r.strands[k]
		if !r.ticks[k] {
			continue
		}
		for n := range r.perStrand {
			d := &r.draws[i+n]
			var entered float64 // degree-days after the last break
			moving := len(d.past) > 0 || s.phase == broke
			switch {
			case !moving && stage == Still:
				days = append(days, weighted{r.air.Day(s.to), r.weights[i+n]})
				continue
			case !moving || grown(d.run, d.params) != stage:
				continue
			case stage == Elongating:
				entered = breakingTo * d.params.Grow
			case stage == Expanding:
				entered = elongatingTo * d.params.Grow
			case stage == Hardened:
				entered = d.params.Grow
			}
			at := r.air.Heat.After(r.air.Day(r.now)) - d.run + entered
			days = append(days, weighted{r.air.Heat.Reach(at, 0), r.weights[i+n]})
		}
		i += r.perStrand
	}
	if len(days) == 0 {
		return civil.Date{}
	}
	return r.air.Date(min(quantiles(days, 0.5)[0], r.air.Day(r.now)))
}

// A Standing is a block's stage for status.
type Standing struct {
	Stage, Since, From string // From: seen, estimate; "" where the clock does not know
}

// Stages gives every block's stage on a day by the settings alone, without a fit: for the cultivar with the most trees.
func Stages(b *projections.Book, on civil.Date) map[string]Standing {
	t := newTeller(b, Query{On: on})
	t.model.Draws = sets
	out := map[string]Standing{}
	for _, code := range b.Keys(projections.Block) {
		st := projections.StateOf[State](b, Fold(), code)
		sky := t.sky.For(code)
		if len(st.Groups) == 0 || sky.Own == nil {
			continue
		}
		cultivar := st.cultivars()[0]
		if _, species := st.of(cultivar); !t.modelled(species) {
			continue
		}
		prior, _ := t.model.For(b, cultivar, on)
		var none Evidence
		sky.Past = nil
		r := t.tell(code, cultivar, st, sky, NewFit(&none, prior, t.model, seed("stage", cultivar)), on, 1)
		var block Block
		r.stage(&block)
		out[code] = Standing{block.Stage, block.StageSince, block.StageFrom}
	}
	return out
}
