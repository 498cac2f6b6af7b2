package recipe

import (
	"fmt"
	"slices"
	"strings"

	"stillroom/internal/canning"
	"stillroom/internal/measure"
)

// Text is a recipe as plain text: what goes in, how it is made, its printed processes with their source, and the
// cautions. It holds every band of altitude, since it does not know where the jars will be processed.
func Text(r *Revision) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n%s\n\n", r.Title, strings.Repeat("=", len([]rune(r.Title))))
	fmt.Fprintf(&b, "Source:    %s\n", r.Source)
	fmt.Fprintf(&b, "Yield:     %s\n", yieldText(r.Yield))
	if r.Pack != "" {
		fmt.Fprintf(&b, "Pack:      %s", r.Pack)
		if r.Headspace > 0 {
			fmt.Fprintf(&b, ", headspace %s", r.Headspace)
		}
		b.WriteString("\n")
	}
	if r.SterileJars {
		b.WriteString("Jars:      sterile\n")
	}
	fmt.Fprintf(&b, "Season:    %s, %s\n", SeasonsText(Seasons(r)), SeasonBasis)
	stable, why := ShelfStable(r)
	if stable {
		fmt.Fprintf(&b, "Shelf:     shelf-stable when processed as below; %s\n", why)
	} else {
		fmt.Fprintf(&b, "Shelf:     REFRIGERATE OR FREEZE; %s\n", why)
	}
	writeLines(&b, r)
	writeSteps(&b, r)
	if r.Notes != "" {
		fmt.Fprintf(&b, "\nNotes\n  %s\n", r.Notes)
	}
	if stable {
		writeProcess(&b, r)
	}
	writeCautions(&b, r)
	return b.String()
}

func yieldText(y Yield) string {
	if y.Text != "" {
		return y.Text
	}
	if y.JarsMin == y.JarsMax {
		return fmt.Sprintf("about %d %s", y.JarsMax, jarsName(y.Jar, y.JarsMax))
	}
	return fmt.Sprintf("about %d to %d %s", y.JarsMin, y.JarsMax, jarsName(y.Jar, y.JarsMax))
}

func writeLines(b *strings.Builder, r *Revision) {
	b.WriteString("\nIngredients, for one batch\n")
	width := 0
	for _, l := range r.Lines {
		width = max(width, len([]rune(l.amountText())))
	}
	for _, l := range r.Lines {
		amount := l.amountText()
		fmt.Fprintf(b, "  %s%s  %s", amount, strings.Repeat(" ", width-len([]rune(amount))), l.Ingredient.Name)
		if l.Preparation != "" {
			b.WriteString(", " + l.Preparation)
		}
		if l.Optional {
			b.WriteString(" (optional)")
		}
		if l.Note != "" {
			b.WriteString(" [" + l.Note + "]")
		}
		b.WriteString("\n")
	}
}

func writeSteps(b *strings.Builder, r *Revision) {
	if len(r.Steps) == 0 {
		return
	}
	b.WriteString("\nMethod\n")
	for _, s := range r.Steps {
		fmt.Fprintf(b, "  %d. %s", s.Order, s.Text)
		if s.Timed {
			fmt.Fprintf(b, " [%s]", minutesText(s.MinutesMin, s.MinutesMax))
		}
		b.WriteString("\n")
	}
	if needs := Equipment(r); len(needs) > 0 {
		b.WriteString("\nEquipment beside the canner (counts are common practice, the recipe does not print them)\n")
		for _, n := range needs {
			item := n.Item
			if n.Count > 1 {
				item += "s"
			}
			fmt.Fprintf(b, "  %d %s\n", n.Count, item)
		}
	}
}

// minutesText is "10 min", "30 s", "3 to 4 h".
func minutesText(low, high float64) string {
	scale, unit := 1.0, "min"
	switch {
	case high < 1:
		scale, unit = 1.0/60, "s"
	case low >= 120 && low/60 == float64(int(low/60)) && high/60 == float64(int(high/60)):
		scale, unit = 60, "h"
	}
	show := func(m float64) string {
		n, err := measure.FromFloat(m / scale)
		if err != nil {
			return "?"
		}
		return n.Decimal(1)
	}
	if low == high {
		return show(low) + " " + unit
	}
	return show(low) + " to " + show(high) + " " + unit
}

func writeProcess(b *strings.Builder, r *Revision) {
	rows := rowsFor(r.ProcessKey, r.Pack)
	if len(rows) == 0 {
		return
	}
	b.WriteString("\nProcess times\n")
	var sources []string
	last := ""
	for _, row := range rows {
		head := fmt.Sprintf("  %s, %s pack, %s", canning.Method(row.Method).Name(), row.Pack, jarsName(canning.JarSize(row.Jar), 2))
		if head != last {
			b.WriteString(head + "\n")
			last = head
		}
		fmt.Fprintf(b, "    %-22s %s", canning.BandText(row.Band), row.Minutes)
		if row.Pressure > 0 {
			fmt.Fprintf(b, " at %s", row.Pressure)
		}
		b.WriteString("\n")
		if s := row.Source.String(); !slices.Contains(sources, s) {
			sources = append(sources, s)
		}
	}
	for _, s := range sources {
		fmt.Fprintf(b, "  Source: %s\n", s)
	}
}

// writeCautions prints what the canning room prints with a process of this recipe, or with none its first line.
func writeCautions(b *strings.Builder, r *Revision) {
	b.WriteString("\nCautions\n")
	p, err := jarProcess(r.ProcessKey, r.Pack, r.Yield.Jar)
	if err != nil {
		fmt.Fprintf(b, "  - %s\n", canning.AuthorityFirst)
		return
	}
	for _, c := range canning.Cautions(p) {
		fmt.Fprintf(b, "  - %s\n", c.Text)
	}
}
