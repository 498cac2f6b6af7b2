package web_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/web/webtest"
)

// The pages keep their contrast in the dark, and need no scrolling to the side on a narrow screen or at 400 %.
func TestPagesAdapt(t *testing.T) {
	t.Parallel()
	k := webtest.Open(t)
	k.SetUp()
	for range 2 {
		_, err := stillroomv1.NewShoppingServiceClient(k.Conn).CreateShoppingList(t.Context(), &stillroomv1.CreateShoppingListRequest{Parent: webtest.Class})
		require.NoError(t, err)
	}
	b := k.Browser(k.Token(stillroomv1.Role_ROLE_OWNER))
	b.Dark()
	for _, path := range []string{"", "/enrol", "/batches/new", "/propose", "/shopping", "/shopping/compare", "/nowhere"} {
		b.Open("/" + webtest.Class + path)
		b.Accessible()
		b.Reflows()
		b.Accessible()
		b.Screen("dark-narrow" + strings.ReplaceAll(path, "/", "-"))
	}
}
