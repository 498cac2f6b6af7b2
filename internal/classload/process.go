package classload

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"stillroom/internal/canning"
	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
	"stillroom/internal/recipe"
)

// preference is the order in which methods are taken: acid food goes into boiling
// water, or steam where that is permitted; pressure where its table alone has it.
var preference = []canning.Method{canning.BoilingWater, canning.AtmosphericSteam, canning.PressureWeighted, canning.PressureDial}

// published is the process a batch will be given.
type published struct {
	// method is the one chosen; canners of alternative may take the batch too.
	method canning.Method
	choice canning.Choice
	// by is the answer of the process table for each method that may be used.
	by map[canning.Method]canning.Process
}

// refusal is why a batch goes into no load.
type refusal struct{ reason string }

// processFor finds the published process of a batch among the methods its class has
// canners for, or says why there is none.
func (in Input) processFor(b kitchen.Batch, r *recipe.Revision, canners []unit) (published, *refusal, error) {
	if b.NotForShelf != "" {
		return published{}, &refusal{b.NotForShelf}, nil
	}
	// What is stored is not believed: the formula is set against its source afresh.
	if why := recipe.LoadRefusal(r); why != "" {
		return published{}, &refusal{why}, nil
	}
	choice := in.Choices[b.ID]
	methods := preference
	if choice.Method != "" {
		methods = []canning.Method{choice.Method}
	}
	var refused []string
	var without []string
	for _, m := range methods {
		process, err := in.lookUp(b, r, m)
		if err != nil {
			var no *canning.Refusal
			if !errors.As(err, &no) {
				return published{}, nil, err
			}
			if !slices.Contains(refused, no.Error()) && (haveMethod(canners, m) || choice.Method != "") {
				refused = append(refused, no.Error())
			}
			continue
		}
		if !anyTakes(canners, m, b.JarSize) {
			without = append(without, m.Name())
			continue
		}
		c, err := pick(process, choice.Pressure)
		if err != nil {
			return published{}, nil, err
		}
		p := published{method: m, choice: c, by: map[canning.Method]canning.Process{m: process}}
		if m == canning.BoilingWater && choice.Method == "" {
			// Where steam is permitted it runs by the same row, so either vessel serves.
			if steam, err := in.lookUp(b, r, canning.AtmosphericSteam); err == nil {
				p.by[canning.AtmosphericSteam] = steam
			}
		}
		return p, nil, nil
	}
	if len(without) > 0 {
		refused = append(refused, fmt.Sprintf("published by %s, but no canner of the class takes %s jars by that method", strings.Join(without, " and by "), b.JarSize.Name()))
	}
	if len(refused) > 0 {
		return published{}, &refusal{strings.Join(refused, "; ")}, nil
	}
	_, err := in.lookUp(b, r, canning.BoilingWater)
	if err == nil {
		err = errors.New("no canner of the class serves its published process")
	}
	return published{}, &refusal{err.Error()}, nil
}

func (in Input) lookUp(b kitchen.Batch, r *recipe.Revision, m canning.Method) (canning.Process, error) {
	return canning.Published().LookUp(canning.Request{
		ProductKey: processKey(r), Pack: r.Pack, Jar: b.JarSize, Method: m, Altitude: in.Altitude,
	})
}

// processKey is the product whose process holds for a revision: its own, unless its
// review says that a permitted change made it another product.
func processKey(r *recipe.Revision) string {
	key := r.ProcessKey
	for _, f := range recipe.ReviewOf(r).Findings {
		if f.ProcessKey != "" {
			key = f.ProcessKey
		}
	}
	return key
}

// pick takes the printed choice at a pressure, or the quickest; among equals the
// one at the lowest pressure.
func pick(p canning.Process, pressure measure.GaugePounds) (canning.Choice, error) {
	if pressure != 0 {
		return p.Choose(pressure)
	}
	return slices.MinFunc(p.Choices, func(a, b canning.Choice) int {
		return cmp.Or(cmp.Compare(a.Minutes, b.Minutes), cmp.Compare(a.Pressure, b.Pressure))
	}), nil
}

func haveMethod(canners []unit, m canning.Method) bool {
	return slices.ContainsFunc(canners, func(u unit) bool { return slices.Contains(u.methods, m) })
}

func anyTakes(canners []unit, m canning.Method, size canning.JarSize) bool {
	return slices.ContainsFunc(canners, func(u unit) bool { return u.takes(m, size) > 0 })
}
