package rpc

import (
	"encoding/base64"
	"encoding/json"

	"stillroom/internal/fault"
)

// defaultPage is how many resources a list returns when page_size is 0.
const defaultPage = 50

// pageSize is the number of rows to return; callers of the store ask for one more
// to learn whether there is a next page.
func pageSize(asked int32) int32 {
	if asked == 0 {
		return defaultPage
	}
	return asked
}

// cursor is the content of a page token: what was listed, and the sort key of the
// last row returned. Tokens are opaque to callers.
type cursor struct {
	List  string `json:"l"`
	After []any  `json:"a"`
}

// nextPage makes the token that continues a list after the given sort key.
func nextPage(list string, after ...any) string {
	data, err := json.Marshal(cursor{List: list, After: after})
	if err != nil {
		panic(err) // only strings and numbers go in
	}
	return base64.RawURLEncoding.EncodeToString(data)
}

// readPage reads a token into pointers to the sort key's parts and leaves them
// alone when the token is empty. A token of another list is refused. list must
// name everything that selects the rows: the parent and the filters.
func readPage(token, list string, after ...any) error {
	if token == "" {
		return nil
	}
	refused := fault.Field("page_token", token, "is not a token of this list", "give the next_page_token of the page before, or none")
	data, err := base64.RawURLEncoding.DecodeString(token)
	if err != nil {
		return refused
	}
	var raw struct {
		List  string            `json:"l"`
		After []json.RawMessage `json:"a"`
	}
	if err := json.Unmarshal(data, &raw); err != nil || raw.List != list || len(raw.After) != len(after) {
		return refused
	}
	for i, part := range raw.After {
		if err := json.Unmarshal(part, after[i]); err != nil {
			return refused
		}
	}
	return nil
}

// cut returns at most size rows and whether there are more; the store was asked
// for one row beyond the page.
func cut[T any](rows []T, size int32) ([]T, bool) {
	if len(rows) > int(size) {
		return rows[:size], true
	}
	return rows, false
}
