package store

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"stillroom/internal/classload"
	"stillroom/internal/fault"
	"stillroom/internal/store/db"
)

var (
	_ = onConstraint("load_plans_immutable", fault.Precondition, "a load plan never changes; plan again for a new one")
	_ = onConstraint("load_plans_number_key", fault.Conflict, "somebody else stored a plan of this class just now; try again")
)

// AddLoadPlan stores a plan whole, as the next of its class.
func (t *Tx) AddLoadPlan(ctx context.Context, p classload.Plan) (classload.Plan, error) {
	class, err := t.lockClass(ctx, p.Class)
	if err != nil {
		return p, err
	}
	document, err := json.Marshal(p)
	if err != nil {
		return p, fmt.Errorf("writing a load plan: %w", err)
	}
	row, err := t.q.InsertLoadPlan(ctx, db.InsertLoadPlanParams{
		KitchenID: t.kitchen, ClassID: class.ID, ID: newID(), Document: document,
		Unprocessed: int32(p.Outcome.Unprocessed), FinishMinutes: int32(p.Outcome.Finish), Optimal: p.Outcome.Optimal,
	})
	p.Number, p.CreatedAt = int(row.Number), row.CreatedAt
	return p, err
}

// AddLoadPlans stores plans of several classes that were made together, each as the
// next of its class and naming the others as those it was made around.
func (t *Tx) AddLoadPlans(ctx context.Context, plans []classload.Plan) ([]classload.Plan, error) {
	refs := make([]classload.PlanRef, len(plans))
	// Locked in the order of their names, so that two such calls do not wait for each other.
	inOrder := make([]int, len(plans))
	for i := range plans {
		inOrder[i] = i
	}
	slices.SortFunc(inOrder, func(a, b int) int { return cmp.Compare(plans[a].Class, plans[b].Class) })
	for _, i := range inOrder {
		class, err := t.lockClass(ctx, plans[i].Class)
		if err != nil {
			return nil, err
		}
		number, err := t.q.NextLoadPlanNumber(ctx, db.NextLoadPlanNumberParams{KitchenID: t.kitchen, ClassID: class.ID})
		if err != nil {
			return nil, err
		}
		refs[i] = classload.PlanRef{Class: plans[i].Class, Number: int(number)}
	}
	stored := make([]classload.Plan, len(plans))
	for i, p := range plans {
		p.Around = slices.Delete(slices.Clone(refs), i, i+1)
		var err error
		if stored[i], err = t.AddLoadPlan(ctx, p); err != nil {
			return nil, err
		}
		if stored[i].Number != refs[i].Number {
			return nil, fmt.Errorf("plan of class %s became number %d, not %d", p.Class, stored[i].Number, refs[i].Number)
		}
	}
	return stored, nil
}

// LoadPlan is a plan of a class by its number.
func (t *Tx) LoadPlan(ctx context.Context, class, number string) (classload.Plan, error) {
	n, err := strconv.ParseInt(number, 10, 32)
	if err != nil || n < 1 {
		return classload.Plan{}, fault.Missing("load plan", number)
	}
	row, err := t.q.GetLoadPlan(ctx, db.GetLoadPlanParams{KitchenID: t.kitchen, ClassSlug: class, Number: int32(n)})
	if err != nil {
		return classload.Plan{}, found(err, "load plan", number)
	}
	return toLoadPlan(row.Number, row.Document, row.CreatedAt)
}

// LoadPlans lists a class's plans with numbers below the given one, the newest first; 0 begins with the newest.
func (t *Tx) LoadPlans(ctx context.Context, class string, before int, limit int32) ([]classload.Plan, error) {
	if before == 0 {
		before = math.MaxInt32
	}
	rows, err := t.q.ListLoadPlans(ctx, db.ListLoadPlansParams{KitchenID: t.kitchen, ClassSlug: class, Before: int32(before), Size: limit})
	if err != nil {
		return nil, err
	}
	plans := make([]classload.Plan, len(rows))
	for i, r := range rows {
		if plans[i], err = toLoadPlan(r.Number, r.Document, r.CreatedAt); err != nil {
			return nil, err
		}
	}
	return plans, nil
}

func toLoadPlan(number int32, document []byte, created time.Time) (classload.Plan, error) {
	var p classload.Plan
	if err := json.Unmarshal(document, &p); err != nil {
		return p, fmt.Errorf("reading load plan %d: %w", number, err)
	}
	p.Number, p.CreatedAt = int(number), created
	return p, nil
}

// LoadInput gathers what a plan of a class is computed from. Assumptions, choices and what has happened are the
// caller's to add.
func (t *Tx) LoadInput(ctx context.Context, classID string) (classload.Input, error) {
	var in classload.Input
	var err error
	if in.Class, err = t.Class(ctx, classID); err != nil {
		return in, err
	}
	site, err := t.Site(ctx, in.Class.Site)
	if err != nil {
		return in, err
	}
	in.Altitude = site.Altitude
	if in.Stations, err = t.AllStations(ctx, classID); err != nil {
		return in, err
	}
	if in.Batches, err = t.AllBatches(ctx, classID); err != nil {
		return in, err
	}
	if in.Recipes, err = t.FormulasOf(ctx, in.Batches); err != nil {
		return in, err
	}
	in.Units, err = t.UnitsFor(ctx, classID)
	return in, err
}
