package main

import (
	"context"
	"io"

	"github.com/spf13/cobra"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func newStock(s *session) *cobra.Command {
	return parent(groupPlan, "stock", "Stock: what is on hand and need not be bought",
		newStockAdd(s), newStockList(s), newStockDelete(s))
}

func newStockAdd(s *session) *cobra.Command {
	var id string
	item := &stillroomv1.StockItem{}
	cmd := &cobra.Command{
		Use: "add ITEM QUANTITY", Short: "Record something on hand", Args: cobra.ExactArgs(2),
		Example: `  stillroom stock add sugar "1.5 kg" --best-before 2027-06-30
  stillroom stock add jar_pint "17 each" --used`,
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			item.Item, item.Content = args[0], args[1]
			added, err := call(cmd.Context(), s, stillroomv1.NewShoppingServiceClient, func(ctx context.Context, c stillroomv1.ShoppingServiceClient) (*stillroomv1.StockItem, error) {
				return c.CreateStockItem(ctx, &stillroomv1.CreateStockItemRequest{Parent: k, StockItemId: id, StockItem: item, RequestId: newRequestID()})
			})
			if err != nil {
				return err
			}
			return s.showStock(&stillroomv1.ListStockItemsResponse{StockItems: []*stillroomv1.StockItem{added}})
		},
	}
	cmd.Flags().StringVar(&id, "id", "", "id of the item; one is made up when empty")
	cmd.Flags().StringVar(&item.BestBefore, "best-before", "", "last day it may be used in a class, such as 2027-06-30")
	cmd.Flags().BoolVar(&item.Used, "used", false, "jars, bands or lids that were used before (used lids are never counted)")
	cmd.Flags().StringVar(&item.Note, "note", "", "where it is kept, or anything else to remember")
	return cmd
}

func newStockList(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List what is on hand", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewShoppingServiceClient, func(ctx context.Context, c stillroomv1.ShoppingServiceClient, token string) (*stillroomv1.ListStockItemsResponse, error) {
				return c.ListStockItems(ctx, &stillroomv1.ListStockItemsRequest{Parent: k, PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			return s.showStock(all)
		},
	}
}

func newStockDelete(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "delete ID", Short: "Remove what is used up", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			full, err := s.under("stock", args[0])
			if err != nil {
				return err
			}
			_, err = call(cmd.Context(), s, stillroomv1.NewShoppingServiceClient, func(ctx context.Context, c stillroomv1.ShoppingServiceClient) (any, error) {
				return c.DeleteStockItem(ctx, &stillroomv1.DeleteStockItemRequest{Name: full})
			})
			return s.done(err, "stock item %s is removed", last(full))
		},
	}
}

func (s *session) showStock(all *stillroomv1.ListStockItemsResponse) error {
	return s.show(all, func(w io.Writer) {
		g := newGrid("ITEM", "STOCK ITEM", "ON HAND", "BEST BEFORE", "NOTE")
		for _, h := range all.GetStockItems() {
			content := h.GetContent()
			if h.GetUsed() {
				content += ", used"
			}
			g.add(h.GetItem(), last(h.GetName()), content, h.GetBestBefore(), h.GetNote())
		}
		g.write(w, "Nothing is on hand; add something with: stillroom stock add ITEM QUANTITY")
	})
}
