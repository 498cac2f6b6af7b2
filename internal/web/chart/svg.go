package chart

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"stillroom/internal/web/inert"
)

// letter is how wide a letter of a label is, as a part of its height, on the safe side.
const letter = 0.58

// smallestLabel is the least height of a label's letters, in units of the drawing.
const smallestLabel = 10

// SVG writes the chart as an element with the given id and name. Every load is a stop of the keyboard with a name;
// the clock and the labels, which the names repeat, are hidden from those who listen.
func (p *Placed) SVG(id, name string) template.HTML {
	var b strings.Builder
	s := p.Size
	fmt.Fprintf(&b, `<svg class="chart" id="%s" role="group" aria-label="%s" viewBox="0 0 %s %s" data-opens="%s" data-closes="%s" data-left="%s" data-width="%s">`,
		text(id), text(name), number(s.Width), number(p.Height), stamp(p.Chart.Opens), stamp(p.Chart.Closes), number(s.NameWidth), number(s.Width-s.NameWidth))
	p.writePatterns(&b, id)
	p.writeAxis(&b)
	for _, row := range p.Rows {
		p.writeRow(&b, id, row)
	}
	if !math.IsNaN(p.NowX) {
		fmt.Fprintf(&b, `<g class="chart-now" data-now="%s" role="img" aria-label="Now %s"><line x1="%s" y1="%s" x2="%[3]s" y2="%[5]s"/></g>`,
			stamp(p.Chart.Now), p.Chart.Now.In(p.Chart.Zone).Format("15:04"), number(p.NowX), number(s.Axis*0.3), number(p.Height))
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String()) // every text went through text, every number through number
}

// Key writes what the textures mean, as a list of samples with words. It uses the patterns of the chart with the id.
func (p *Placed) Key(id string) template.HTML {
	var b strings.Builder
	b.WriteString(`<ul class="chart-key">`)
	for _, k := range p.Chart.Kinds() {
		thin := 0
		if k.Thin() {
			thin = 1
		}
		fmt.Fprintf(&b, `<li><svg class="chart-sample" viewBox="0 0 36 18" aria-hidden="true"><rect class="chart-span chart-%s" x="1" y="%d" width="34" height="%d"%s/></svg>%s</li>`,
			k.Class(), 1+5*thin, 16-10*thin, fill(id, k), text(k.String()))
	}
	b.WriteString(`</ul>`)
	return template.HTML(b.String())
}

// writePatterns defines each texture that occurs once.
func (p *Placed) writePatterns(b *strings.Builder, id string) {
	b.WriteString(`<defs>`)
	for _, k := range p.Chart.Kinds() {
		t, unit := k.Texture(), p.Size.Unit
		switch {
		case t.Dots > 0:
			size := t.Dots * unit
			fmt.Fprintf(b, `<pattern id="%s-%s" patternUnits="userSpaceOnUse" width="%s" height="%[3]s"><circle class="chart-ink" cx="%[4]s" cy="%[4]s" r="%[5]s"/></pattern>`,
				text(id), k.Class(), number(size), number(size/2), number(DotSize*unit/2*1.4))
		case len(t.Strokes) > 0:
			// Lines at the first angle; a second set stands across it. The sheet of lines is turned as a whole.
			gap, width := t.Strokes[0].Gap*unit, t.Strokes[0].Width*unit
			fmt.Fprintf(b, `<pattern id="%s-%s" patternUnits="userSpaceOnUse" width="%s" height="%[3]s" patternTransform="rotate(%[4]s)"><rect class="chart-ink" x="0" y="0" width="%[3]s" height="%[5]s"/>`,
				text(id), k.Class(), number(gap), number(-t.Strokes[0].Angle), number(width))
			if len(t.Strokes) > 1 {
				fmt.Fprintf(b, `<rect class="chart-ink" x="0" y="0" width="%s" height="%s"/>`, number(width), number(gap))
			}
			b.WriteString(`</pattern>`)
		}
	}
	b.WriteString(`</defs>`)
}

func (p *Placed) writeAxis(b *strings.Builder) {
	s := p.Size
	b.WriteString(`<g class="chart-axis" aria-hidden="true">`)
	// The last time may have to stand left of its mark; the one before gives way where it would touch it.
	half := func(t Tick) float64 { return width(t.Text, s.Axis*0.45) / 2 }
	leftOf := s.Width
	for _, t := range p.Ticks {
		if t.Text != "" && t.X > s.Width-half(t) {
			leftOf = t.X - 2*half(t)
		}
	}
	for _, t := range p.Ticks {
		class, top := "chart-mark", s.Axis*0.8
		if t.Text != "" {
			class, top = "chart-tick", s.Axis*0.65
		}
		switch {
		case t.Text == "":
		case t.X > s.Width-half(t):
			fmt.Fprintf(b, `<text x="%s" y="%s" text-anchor="end">%s</text>`, number(t.X), number(s.Axis*0.5), t.Text)
		case t.X+half(t) < leftOf:
			fmt.Fprintf(b, `<text x="%s" y="%s" text-anchor="middle">%s</text>`, number(t.X), number(s.Axis*0.5), t.Text)
		}
		fmt.Fprintf(b, `<line class="%s" x1="%s" y1="%s" x2="%[2]s" y2="%[4]s"/>`, class, number(t.X), number(top), number(p.Height))
	}
	b.WriteString(`</g>`)
}

func (p *Placed) writeRow(b *strings.Builder, id string, row PlacedRow) {
	s := p.Size
	if !math.IsNaN(row.HeadingY) {
		fmt.Fprintf(b, `<text class="chart-heading" x="0" y="%s">%s</text>`, number(row.HeadingY+s.Heading*0.7), text(row.Group))
	}
	fmt.Fprintf(b, `<g class="chart-row" role="group" aria-label="%s"><line class="chart-base" x1="0" y1="%s" x2="%s" y2="%[2]s"/>`,
		text(row.Name), number(row.Y+row.Height+s.RowGap/2), number(s.Width))
	height := min(s.Lane*0.42, 17)
	fmt.Fprintf(b, `<text class="chart-name" aria-hidden="true" x="0" y="%s">%s</text>`, number(row.Y+s.Lane*0.62), text(short(row.Name, s.NameWidth, height)))
	for _, load := range row.Loads {
		class := "chart-load"
		if load.Done {
			class += " chart-done"
		}
		fmt.Fprintf(b, `<g class="%s" tabindex="0" role="img" aria-label="%s"`, class, text(load.Name))
		if load.Ref != "" {
			fmt.Fprintf(b, ` data-ref="%s"`, text(load.Ref))
		}
		fmt.Fprintf(b, `><title>%s</title>`, text(load.Name))
		for _, span := range load.Spans {
			fmt.Fprintf(b, `<rect class="chart-span chart-%s" x="%s" y="%s" width="%s" height="%s"%s/>`,
				span.Kind.Class(), number(span.X), number(span.Y), number(span.Width), number(span.Height), fill(id, span.Kind))
		}
		for _, span := range load.Spans {
			p.writeLabel(b, span)
		}
		if caption := short(load.Caption, load.CaptionRoom-3, s.Caption*0.8); caption != "" {
			fmt.Fprintf(b, `<text class="chart-caption" aria-hidden="true" font-size="%s" x="%s" y="%s">%s</text>`,
				number(s.Caption*0.8), number(load.X), number(load.Y+s.Lane+s.Caption*0.85), text(caption))
		}
		// Drawn last, over the textures, so that the ring of the focus is never hidden.
		fmt.Fprintf(b, `<rect class="chart-frame" x="%s" y="%s" width="%s" height="%s"/></g>`, number(load.X), number(load.Y), number(load.Width), number(load.Height))
	}
	b.WriteString(`</g>`)
}

// writeLabel prints a label where it fits, on a patch of white where a texture would make it hard to read.
func (p *Placed) writeLabel(b *strings.Builder, span PlacedSpan) {
	if span.Text == "" {
		return
	}
	height, words := min(span.Height*0.45, 16), inert.Text(span.Text)
	for height > smallestLabel && width(words, height) > span.Width-2 { // rather smaller than cut off
		height--
	}
	if width(words, height) > span.Width-2 && !strings.Contains(words, " ") || len(words) > 0 && words[0] > '9' {
		words = short(words, span.Width-2, height)
	} else if width(words, height) > span.Width-2 { // of "12 half-pint" the number alone
		words, _, _ = strings.Cut(words, " ")
		words = short(words, span.Width-2, height)
	}
	if words == "" {
		return
	}
	class := "chart-label"
	middle, base := span.X+span.Width/2, span.Y+span.Height/2+height*0.36
	if t := span.Kind.Texture(); t.Solid {
		class += " chart-on-ink"
	} else if len(t.Strokes) > 0 || t.Dots > 0 {
		w := width(words, height) + 4
		fmt.Fprintf(b, `<rect class="chart-patch" x="%s" y="%s" width="%s" height="%s"/>`, number(middle-w/2), number(base-height*0.95), number(w), number(height*1.25))
	}
	fmt.Fprintf(b, `<text class="%s" aria-hidden="true" font-size="%s" x="%s" y="%s" text-anchor="middle">%s</text>`, class, number(height), number(middle), number(base), text(words))
}

func width(s string, height float64) float64 {
	return float64(utf8.RuneCountInString(s)) * height * letter
}

// short cuts a text to a width, with a mark; empty where not even three letters fit.
func short(s string, room, height float64) string {
	s = inert.Text(s)
	if height <= 0 {
		return ""
	}
	if width(s, height) <= room {
		return s
	}
	fits := int(room/(height*letter)) - 1
	if fits < 3 {
		return ""
	}
	return strings.TrimRight(string([]rune(s)[:fits]), " ") + "…"
}

// fill is how a kind is filled: a presentation attribute, since a stylesheet in a file of its own cannot name a
// pattern of the page.
func fill(id string, k Kind) string {
	if t := k.Texture(); t.Dots > 0 || len(t.Strokes) > 0 {
		return fmt.Sprintf(` fill="url(#%s-%s)"`, text(id), k.Class())
	}
	return ""
}

// text makes a text inert and escapes it for elements and for quoted attributes.
func text(s string) string { return html.EscapeString(inert.Text(s)) }

// number writes a length with at most two decimals.
func number(v float64) string {
	return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
}

func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }
