//go:build !race

package web

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestListBombing posts 10,000 sign-ups from many addresses for many victims.
func TestListBombing(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := testHandler(t, m)
	refused := 0
	for i := range 10_000 {
		r := httptest.NewRequest("POST", "/signup",
			strings.NewReader(signUpValues(fmt.Sprintf("victim%d@example.org", i%3000)).Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.RemoteAddr = fmt.Sprintf("203.%d.%d.9:1", i/250%250, i%250)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code == http.StatusTooManyRequests {
			refused++
		}
	}

	mails := 0
	for _, n := range m.confirm {
		mails += n
	}
	require.LessOrEqual(t, mails, 100)
	require.Equal(t, 10_000-mails, refused)
}
