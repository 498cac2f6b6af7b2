package recipe

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"stillroom/internal/canning"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

// hasProcess says the process tables have the product.
func hasProcess(processKey string) bool { return familyOf(processKey) != NoFamily }

// samePublication says a formula's source is the publication that prints the product's process. Publications are
// known by their bulletin number.
func samePublication(publication, processKey string) bool {
	const bulletin = "AIB 539"
	rows := reference.ProcessRowsOf(processKey)
	return len(rows) > 0 && strings.Contains(publication, bulletin) && strings.Contains(rows[0].Source.Publication, bulletin)
}

// rowsFor are the process rows of a product for a pack.
func rowsFor(processKey string, pack reference.Pack) []reference.ProcessRow {
	var rows []reference.ProcessRow
	for _, row := range reference.ProcessRowsOf(processKey) {
		if row.Pack == reference.AnyPack || row.Pack == pack {
			rows = append(rows, row)
		}
	}
	return rows
}

// printedJars are the jars of a product's table for a pack, smallest first.
func printedJars(processKey string, pack reference.Pack) []canning.JarSize {
	var jars []canning.JarSize
	for _, row := range rowsFor(processKey, pack) {
		if jar := canning.JarSize(row.Jar); !slices.Contains(jars, jar) {
			jars = append(jars, jar)
		}
	}
	slices.SortFunc(jars, canning.CompareJars)
	return jars
}

// Methods are the methods a revision's process is printed for, in the order of the tables, and atmospheric steam
// where its published conditions hold for the printed jar at sea level. Higher up they may hold no longer: the
// time with its altitude adjustment has a limit.
func Methods(r *Revision) []canning.Method {
	var ms []canning.Method
	for _, row := range reference.ProcessRowsOf(r.ProcessKey) {
		if m := canning.Method(row.Method); !slices.Contains(ms, m) {
			ms = append(ms, m)
		}
	}
	if _, err := lookUpAtSea(r.ProcessKey, r.Pack, r.Yield.Jar, canning.AtmosphericSteam); err == nil {
		ms = append(ms, canning.AtmosphericSteam)
	}
	return ms
}

func lookUpAtSea(processKey string, pack reference.Pack, jar canning.JarSize, m canning.Method) (canning.Process, error) {
	sea, err := measure.AltitudeInMetres(measure.Int(0))
	if err != nil {
		return canning.Process{}, err
	}
	return canning.Published().LookUp(canning.Request{ProductKey: processKey, Pack: pack, Jar: jar, Method: m, Altitude: sea})
}

// Jars are the jar sizes a revision's process is printed for, smallest first. Other jars may follow by a published
// rule; the canning room knows.
func Jars(r *Revision) []canning.JarSize { return printedJars(r.ProcessKey, r.Pack) }

// jarProcess looks up the process of a jar at sea level, by the first printed method that has one. The printed jar
// and the notes of the answer do not depend on the altitude.
func jarProcess(processKey string, pack reference.Pack, jar canning.JarSize) (canning.Process, error) {
	err := fmt.Errorf("the process tables have no product %q", processKey)
	for _, c := range canning.Published().Printed(processKey) {
		var p canning.Process
		if p, err = lookUpAtSea(processKey, pack, jar, c.Method); err == nil {
			return p, nil
		}
	}
	return canning.Process{}, err
}

// jarInTable says whether a process is printed, or follows by a published rule, for a product, pack and jar.
func jarInTable(processKey string, pack reference.Pack, jar canning.JarSize) (bool, string) {
	_, err := jarProcess(processKey, pack, jar)
	if err == nil {
		return true, ""
	}
	var refusal *canning.Refusal
	if errors.As(err, &refusal) {
		return false, refusal.Reason + "; refrigerate or freeze"
	}
	return false, err.Error() + "; refrigerate or freeze"
}

func jarList(jars []canning.JarSize) string {
	names := make([]string, len(jars))
	for i, j := range jars {
		names[i] = jarsName(j, 2)
	}
	return strings.Join(names, " or ")
}

// jarsName is a jar size in words for a count of jars.
func jarsName(jar canning.JarSize, n int) string {
	switch {
	case jar == "":
		return "jars"
	case n == 1:
		return jar.Name()
	case jar.IsMetric() || strings.HasSuffix(jar.Name(), "ounce"):
		return jar.Name() + " jars"
	}
	return jar.Name() + "s"
}

// sameTimes says two printed jars of one product and pack have the same minutes in every method and band.
func sameTimes(processKey string, pack reference.Pack, a, b canning.JarSize) bool {
	times := func(jar canning.JarSize) []reference.ProcessRow {
		var rows []reference.ProcessRow
		for _, row := range rowsFor(processKey, pack) {
			if canning.JarSize(row.Jar) == jar {
				row.Jar, row.Source = "", reference.Source{}
				row.Headspace, row.HeadspacePrinted = 0, false
				rows = append(rows, row)
			}
		}
		return rows
	}
	return slices.Equal(times(a), times(b))
}

// citeNotes cites the rules by which a jar took another's process.
func citeNotes(notes []canning.Note) []Citation {
	var cs []Citation
	for _, n := range notes {
		cs = append(cs, Citation{Key: n.Key, Statement: n.Text, Source: n.Source.Publication, Locator: n.Source.Locator})
	}
	return cs
}
