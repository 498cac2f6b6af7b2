package recipe

import (
	"bytes"
	"testing"
)

// BenchmarkReview sets a changed formula against the printed one, which every read of a revision does.
func BenchmarkReview(b *testing.B) {
	r := published("tomato_salsa_paste_tomatoes")
	changed, err := Apply(r, []Change{{Kind: Raise, Line: "onions", Amount: "6 cups"}, {Kind: Omit, Line: "cilantro"}})
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if ReviewOf(changed).Verdict != Forbidden {
			b.Fatal("not forbidden")
		}
	}
}

// BenchmarkImport reads the whole printed library from YAML.
func BenchmarkImport(b *testing.B) {
	data, err := ExportYAML(Library()...)
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := ImportYAML(bytes.NewReader(data)); err != nil {
			b.Fatal(err)
		}
	}
}
