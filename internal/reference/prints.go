package reference

import (
	"io/fs"
	"strings"
	"sync"
)

// printed is all text of the tables in lower case, read once.
var printed = sync.OnceValue(func() string {
	var all strings.Builder
	names, err := fs.Glob(files, "data/*")
	if err != nil {
		panic("reference: " + err.Error())
	}
	for _, name := range names {
		raw, err := files.ReadFile(name)
		if err != nil {
			panic("reference: " + err.Error())
		}
		all.WriteString(strings.ToLower(string(raw)))
		all.WriteByte('\n')
	}
	return all.String()
})

// Prints says whether any table holds these words, whatever their case: then they are
// words of the trade, whoever else is called so.
func Prints(words string) bool {
	words = strings.ToLower(strings.Join(strings.Fields(words), " "))
	return words != "" && strings.Contains(printed(), words)
}
