package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// show writes a reply: as JSON when asked for, else by the given function.
func (s *session) show(reply proto.Message, people func(w io.Writer)) error {
	if s.output == "json" {
		data, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(reply)
		if err != nil {
			return err
		}
		// protojson varies its white space from build to build; indenting it anew does not.
		var out bytes.Buffer
		if err := json.Indent(&out, data, "", "  "); err != nil {
			return err
		}
		_, err = fmt.Fprintln(s.out, out.String())
		return err
	}
	people(s.out)
	return nil
}

// grid is an aligned table for people: a heading, a rule, and rows. Columns whose
// heading begins with ">" are aligned to the right.
type grid struct {
	headings []string
	rows     []table.Row
}

func newGrid(headings ...string) *grid { return &grid{headings: headings} }

func (g *grid) add(cells ...any) { g.rows = append(g.rows, cells) }

// write prints the table, or the sentence for none when it has no rows.
func (g *grid) write(w io.Writer, none string) {
	if len(g.rows) == 0 {
		fmt.Fprintln(w, none)
		return
	}
	t := table.NewWriter()
	style := table.StyleDefault
	style.Options = table.Options{SeparateHeader: true}
	style.Box = table.BoxStyle{PaddingRight: "  ", MiddleHorizontal: "─"}
	style.Format.Header = text.FormatDefault
	t.SetStyle(style)
	t.SuppressTrailingSpaces()
	head := make(table.Row, len(g.headings))
	var configs []table.ColumnConfig
	for i, h := range g.headings {
		name, right := strings.CutPrefix(h, ">")
		head[i] = name
		if right {
			configs = append(configs, table.ColumnConfig{Number: i + 1, Align: text.AlignRight, AlignHeader: text.AlignRight})
		}
	}
	t.AppendHeader(head)
	t.SetColumnConfigs(configs)
	t.AppendRows(g.rows)
	fmt.Fprintln(w, t.Render())
}

// last is the last segment of a resource name.
func last(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

// clock is an instant in a zone, as people at that place write it.
func clock(t *timestamppb.Timestamp, zone *time.Location) string {
	if t == nil {
		return "–"
	}
	return t.AsTime().In(zone).Format("Mon 2 Jan 2006 15:04")
}

// hours is a number of minutes in words: "4 h", "1 h 30 min".
func hours(minutes int32) string {
	switch h, m := minutes/60, minutes%60; {
	case h == 0:
		return fmt.Sprintf("%d min", m)
	case m == 0:
		return fmt.Sprintf("%d h", h)
	default:
		return fmt.Sprintf("%d h %d min", h, m)
	}
}
