package rpc

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/fault"
	"stillroom/internal/shopping"
	"stillroom/internal/store"
)

func (s *shoppingService) TickShoppingLine(ctx context.Context, req *stillroomv1.TickShoppingLineRequest) (*stillroomv1.ShoppingTicks, error) {
	return s.changeTicks(ctx, req, func(tx *store.Tx, n listName, unit string) error {
		return tx.TickShoppingLine(ctx, n.class, n.number, store.ShoppingTick{Item: req.GetItem(), Unit: unit, At: s.now()})
	})
}

func (s *shoppingService) UntickShoppingLine(ctx context.Context, req *stillroomv1.UntickShoppingLineRequest) (*stillroomv1.ShoppingTicks, error) {
	return s.changeTicks(ctx, req, func(tx *store.Tx, n listName, unit string) error {
		return tx.UntickShoppingLine(ctx, n.class, n.number, req.GetItem(), unit)
	})
}

func (s *shoppingService) GetShoppingTicks(ctx context.Context, req *stillroomv1.GetShoppingTicksRequest) (*stillroomv1.ShoppingTicks, error) {
	n, err := parseListName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.ShoppingTicks
	err = s.store.Look(ctx, n.kitchen, func(tx *store.Tx) (err error) {
		out, err = readTicks(ctx, tx, n)
		return err
	})
	return out, err
}

// lineOfList says which line of which list a request is about.
type lineOfList interface {
	GetName() string
	GetItem() string
	GetUnit() string
}

// changeTicks changes the tick of one line of a list, which must have that line.
func (s *shoppingService) changeTicks(ctx context.Context, req lineOfList, change func(tx *store.Tx, n listName, unit string) error) (*stillroomv1.ShoppingTicks, error) {
	n, err := parseListName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.ShoppingTicks
	err = s.store.In(ctx, n.kitchen, func(tx *store.Tx) error {
		stored, err := tx.ShoppingList(ctx, n.class, n.number)
		if err != nil {
			return err
		}
		unit, err := unitOfLine(stored.List, req.GetItem(), req.GetUnit())
		if err != nil {
			return err
		}
		at := listName{kitchen: n.kitchen, class: n.class, number: stored.Number}
		if err := change(tx, at, unit); err != nil {
			return err
		}
		out, err = readTicks(ctx, tx, at)
		return err
	})
	return out, err
}

// unitOfLine is the unit of the line that an item, and a unit where it has several, tell.
func unitOfLine(list *shopping.List, item, unit string) (string, error) {
	var units []string
	for _, line := range list.Items {
		if line.Item == item {
			units = append(units, string(line.Unit))
		}
	}
	switch {
	case len(units) == 0:
		return "", fault.Field("item", item, "is not on this list", "give the item of one of its lines; another version may have it")
	case unit == "" && len(units) == 1:
		return units[0], nil
	case !slices.Contains(units, unit):
		return "", fault.Field("unit", unit, "is not what this item is listed in", "give one of: "+strings.Join(units, ", "))
	}
	return unit, nil
}

func readTicks(ctx context.Context, tx *store.Tx, n listName) (*stillroomv1.ShoppingTicks, error) {
	number, ticks, err := tx.ShoppingTicks(ctx, n.class, n.number)
	if err != nil {
		return nil, err
	}
	out := &stillroomv1.ShoppingTicks{List: nameOf(kitchenListPattern, n.kitchen, strconv.Itoa(number))}
	if n.class != "" {
		out.List = nameOf(classListPattern, n.kitchen, n.class, strconv.Itoa(number))
	}
	for _, t := range ticks {
		out.Ticks = append(out.Ticks, &stillroomv1.ShoppingTick{Item: t.Item, Unit: t.Unit, Time: timestamppb.New(t.At)})
	}
	return out, nil
}
