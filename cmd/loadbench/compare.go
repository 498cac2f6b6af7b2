package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"text/tabwriter"

	"stillroom/internal/loadplan/oven"
)

// published is one row of the table of published results, all of them normalised.
type published struct {
	exact, bound, lns         float64
	sa1Mean, sa1Best, sa5Mean float64
	sa5Best                   float64
	proven                    bool
}

// best is the lowest of all published results.
func (p published) best() float64 {
	return min(p.exact, p.lns, p.sa1Mean, p.sa1Best, p.sa5Mean, p.sa5Best)
}

// comparison gathers answers beside the published results.
type comparison struct {
	rows  map[string]published
	lines []comparisonLine
}

type comparisonLine struct {
	file      string
	published published
	known     bool
	answer    *oven.Answer
}

// readPublished reads the table; it finds columns by their names in the first row.
func readPublished(file string) (*comparison, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	if len(records) == 0 {
		return nil, fmt.Errorf("%s: is empty", file)
	}
	column := map[string]int{}
	for i, name := range records[0] {
		column[name] = i
	}
	c := &comparison{rows: map[string]published{}}
	for n, record := range records[1:] {
		var p published
		for _, x := range []struct {
			name string
			into *float64
		}{{"exact_1h", &p.exact}, {"bound", &p.bound}, {"lns", &p.lns}, {"sa1_mean", &p.sa1Mean}, {"sa1_best", &p.sa1Best}, {"sa5_mean", &p.sa5Mean}, {"sa5_best", &p.sa5Best}} {
			at, ok := column[x.name]
			if !ok {
				return nil, fmt.Errorf("%s: has no column %s", file, x.name)
			}
			if *x.into, err = strconv.ParseFloat(record[at], 64); err != nil {
				return nil, fmt.Errorf("%s: line %d, %s %q: is not a number", file, n+2, x.name, record[at])
			}
		}
		for _, name := range []string{"file", "proven"} {
			if _, ok := column[name]; !ok {
				return nil, fmt.Errorf("%s: has no column %s", file, name)
			}
		}
		p.proven = record[column["proven"]] == "yes"
		c.rows[record[column["file"]]] = p
	}
	return c, nil
}

// add notes an answer; one of another form is no part of the table.
func (c *comparison) add(file string, answer any) {
	a, ok := answer.(*oven.Answer)
	if !ok {
		return
	}
	p, known := c.rows[file]
	c.lines = append(c.lines, comparisonLine{file, p, known, a})
}

// sameAs allows for published figures being rounded to nine places.
const sameAs = 5e-9

// print writes the table and a summary of it.
func (c *comparison) print(out io.Writer) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "instance\tpublished best\tsa5 mean\tours\tagainst best\tpublished bound\tour bound\toptimal\tproven\tseconds")
	var known, notWorse, better, aboveMean, proven, provenEqual, optimal, boundBetter int
	for _, l := range c.lines {
		a, p := l.answer, l.published
		bound := float64(a.Bound) / float64(a.Score.Integer) * a.Score.Normalised
		if a.Score.Integer == 0 {
			bound = 0
		}
		if a.Optimal {
			optimal++
		}
		if !l.known {
			fmt.Fprintf(w, "%s\t-\t-\t%.9f\t-\t-\t%.9f\t%s\t-\t%.1f\n", l.file, a.Score.Normalised, bound, yes(a.Optimal), a.Elapsed.Seconds())
			continue
		}
		known++
		verdict := "worse"
		switch ours, best := a.Score.Normalised, p.best(); {
		case math.Abs(ours-best) <= sameAs:
			verdict = "equal"
			notWorse++
		case ours < best:
			verdict = "better"
			notWorse++
			better++
		}
		if a.Score.Normalised > p.sa5Mean+sameAs {
			aboveMean++
		}
		if p.proven {
			proven++
			if math.Abs(a.Score.Normalised-p.exact) <= sameAs {
				provenEqual++
			}
		}
		if bound > p.bound+sameAs {
			boundBetter++
		}
		fmt.Fprintf(w, "%s\t%.9f\t%.9f\t%.9f\t%s\t%.9f\t%.9f\t%s\t%s\t%.1f\n",
			l.file, p.best(), p.sa5Mean, a.Score.Normalised, verdict, p.bound, bound, yes(a.Optimal), yes(p.proven), a.Elapsed.Seconds())
	}
	w.Flush()
	fmt.Fprintf(out, "\nat or below the best published: %d of %d (better: %d)\n", notWorse, known, better)
	fmt.Fprintf(out, "above sa5 mean: %d\n", aboveMean)
	fmt.Fprintf(out, "equal to the proven optimum: %d of %d\n", provenEqual, proven)
	fmt.Fprintf(out, "bound above the published one: %d of %d\n", boundBetter, known)
	fmt.Fprintf(out, "proven optimal here: %d of %d\n", optimal, len(c.lines))
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}
