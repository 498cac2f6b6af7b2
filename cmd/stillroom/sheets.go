package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"stillroom/internal/web/sheets"
	"stillroom/internal/web/sheets/page"
)

// sheetHelp is what there is to know of each kind of sheet.
var sheetHelp = map[sheets.Kind]string{
	sheets.Shopping:  "The list is the newest stored one; make it with stillroom shopping make.",
	sheets.SignIn:    "The sheet goes from hand to hand, so it has names and stations only.",
	sheets.Stations:  "Times are those of the newest load plan.",
	sheets.Board:     "The plan is the newest one. The table says where each process is printed.",
	sheets.Labels:    "A process stands on a label only where the jar is in a load of the newest plan; other jars\nare labelled to be refrigerated or frozen. Hold a --test-page against a sheet of your labels first.",
	sheets.SealCheck: "What to do, with its source, comes from the class's procedure.",
}

// newSheet makes a command for each kind of sheet.
func newSheet(s *session) *cobra.Command {
	var kinds []*cobra.Command
	for _, kind := range sheets.Kinds() {
		kinds = append(kinds, newSheetKind(s, kind))
	}
	return parent(groupPlan, "sheet", "Paper for the wall, the bench and the jars, as PDF or HTML", kinds...)
}

func newSheetKind(s *session, kind sheets.Kind) *cobra.Command {
	var paper, units, format, file, stock string
	var o sheets.Options
	cmd := &cobra.Command{
		Use: string(kind) + " CLASS", Short: kind.Says(), Args: cobra.ExactArgs(1),
		Long:    kind.Says() + ".\n\n" + sheetHelp[kind],
		Example: fmt.Sprintf("  stillroom sheet %s relish-day --paper letter --file %[1]s.pdf", kind),
		RunE: func(cmd *cobra.Command, args []string) error {
			var err error
			if o.Paper, err = page.ReadPaper(paper); err != nil {
				return fmt.Errorf("--%w", err)
			}
			if err := oneOf("--units", units, "metric", "us"); err != nil {
				return err
			}
			o.US = units == "us"
			if o.Stock, err = page.ReadStock(o.Paper, stock); err != nil {
				return fmt.Errorf("--%w", err)
			}
			if o.Start < 0 || o.Start > o.Stock.Count() {
				return fmt.Errorf("--start %d: a sheet has positions 1 to %d", o.Start, o.Stock.Count())
			}
			if format == "" {
				format = "pdf"
				if strings.HasSuffix(strings.ToLower(file), ".html") {
					format = "html"
				}
			}
			if err := oneOf("--format", format, "pdf", "html"); err != nil {
				return err
			}
			if out, ok := s.out.(*os.File); ok && file == "" && format == "pdf" && term.IsTerminal(int(out.Fd())) {
				return errors.New("a PDF is not for a terminal to show; give --file NAME.pdf")
			}
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			data, err := s.sheet(cmd.Context(), kind, class, o, format)
			if err != nil {
				return err
			}
			if file == "" || file == "-" {
				_, err = s.out.Write(data)
				return err
			}
			err = os.WriteFile(file, data, 0o600)
			return s.done(err, "the sheet is in %s", file)
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&paper, "paper", "a4", "a4 or letter")
	flags.StringVarP(&file, "file", "f", "", "write to this file instead of standard output")
	flags.StringVar(&format, "format", "", "pdf or html; by the file's ending when left out, else pdf")
	if kind == sheets.Shopping || kind == sheets.Stations {
		systemFlag(cmd, &units)
	} else {
		units = "metric"
	}
	if kind == sheets.Labels {
		flags.StringVar(&stock, "labels", "", "label sheets, as count-widthxheight in millimetres: "+stockKeys())
		flags.IntVar(&o.Start, "start", 1, "position of the first free label, along the rows, on a sheet that was begun")
		flags.BoolVar(&o.TestPage, "test-page", false, "print the edges of the labels with their positions, and no label")
	}
	return cmd
}

func stockKeys() string {
	var all []string
	for _, p := range page.Papers() {
		var keys []string
		for _, stock := range page.Stocks(p) {
			keys = append(keys, stock.Key())
		}
		all = append(all, p.Name()+": "+strings.Join(keys, ", "))
	}
	return strings.Join(all, "; ")
}

// sheet makes a sheet and writes it in a format.
func (s *session) sheet(ctx context.Context, kind sheets.Kind, class string, o sheets.Options, format string) ([]byte, error) {
	conn, err := s.dial()
	if err != nil {
		return nil, err
	}
	ctx, cancel := s.withTimeout(ctx)
	defer cancel()
	doc, err := sheets.Make(ctx, conn, kind, class, o)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	write := func(w io.Writer) error { return page.WritePDF(w, doc) }
	if format == "html" {
		write = func(w io.Writer) error { return page.WriteHTML(w, doc, page.Chrome{}) }
	}
	err = write(&out)
	return out.Bytes(), err
}
