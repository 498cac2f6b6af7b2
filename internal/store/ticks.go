package store

import (
	"context"
	"time"

	"github.com/google/uuid"

	"stillroom/internal/store/db"
)

// ShoppingTick says that a line of a list is bought.
type ShoppingTick struct {
	// Item and Unit tell which line.
	Item, Unit string
	At         time.Time
}

// TickShoppingLine marks a line of a list as bought; the first time counts. It does not ask
// whether the list has such a line.
func (t *Tx) TickShoppingLine(ctx context.Context, class string, number int, tick ShoppingTick) error {
	id, _, err := t.shoppingListID(ctx, class, number)
	if err != nil {
		return err
	}
	return t.q.TickShoppingLine(ctx, db.TickShoppingLineParams{KitchenID: t.kitchen, ListID: id, Item: tick.Item, Unit: tick.Unit, At: tick.At})
}

// UntickShoppingLine takes a tick back; it changes nothing where there is none.
func (t *Tx) UntickShoppingLine(ctx context.Context, class string, number int, item, unit string) error {
	id, _, err := t.shoppingListID(ctx, class, number)
	if err != nil {
		return err
	}
	return t.q.UntickShoppingLine(ctx, db.UntickShoppingLineParams{KitchenID: t.kitchen, ListID: id, Item: item, Unit: unit})
}

// ShoppingTicks are the ticks of a list, by item and unit, with the list's number; number 0 is the newest list.
func (t *Tx) ShoppingTicks(ctx context.Context, class string, number int) (int, []ShoppingTick, error) {
	id, number, err := t.shoppingListID(ctx, class, number)
	if err != nil {
		return 0, nil, err
	}
	rows, err := t.q.ListShoppingTicks(ctx, db.ListShoppingTicksParams{KitchenID: t.kitchen, ListID: id})
	return number, each(rows, func(r db.ListShoppingTicksRow) ShoppingTick {
		return ShoppingTick{Item: r.Item, Unit: r.Unit, At: r.TickedAt}
	}), err
}

func (t *Tx) shoppingListID(ctx context.Context, class string, number int) (uuid.UUID, int, error) {
	if err := t.classExists(ctx, class); err != nil {
		return uuid.Nil, 0, err
	}
	row, err := t.q.FindShoppingList(ctx, db.FindShoppingListParams{KitchenID: t.kitchen, ClassSlug: class, Number: int32(number)})
	return row.ID, int(row.Number), found(err, "shopping list", listName(number))
}
