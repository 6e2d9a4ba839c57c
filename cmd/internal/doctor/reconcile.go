package doctor

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"strings"

	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/store"
)

// reconcile looks mails without an answer up in the log of the local relay: a
// Message-ID that stands there was taken.
func (c *Check) reconcile(ctx context.Context, w io.Writer, a *parts.Parts) error {
	list, err := a.Env.DB.UnknownMails(ctx)
	if err != nil {
		return err
	}

	if len(list) == 0 {
		fmt.Fprintln(w, "no mail is without an answer")
		return nil
	}

	f, err := os.Open(c.MailLog)
	if err != nil {
		return env.Fail(2, "--mail-log: "+err.Error())
	}
	defer f.Close()
	taken, err := idsInLog(f, list)
	if err != nil {
		return err
	}

	n := 0
	for _, u := range list {
		if !taken[u.MessageID] {
			continue
		}
		done, err := a.Env.DB.Reconcile(ctx, u.ID, "found in the log of the relay")
		if err != nil {
			return err
		}
		if done {
			n++
		}
	}

	fmt.Fprintf(w, "%d of %d mails without an answer stand in the relay's log and are sent; %d are not there\n", n,
		len(list), len(list)-n)
	return nil
}

// idsInLog finds Message-IDs in a log, whatever its form: the id is long and
// ours alone.
func idsInLog(r io.Reader, list []store.UnknownMail) (map[string]bool, error) {
	out := map[string]bool{}
	sc := bufio.NewScanner(r)
	sc.Buffer(make([]byte, 64<<10), 1<<20)
	for sc.Scan() {
		for _, u := range list {
			if id := strings.Trim(u.MessageID, "<>"); id != "" && strings.Contains(sc.Text(), id) {
				out[u.MessageID] = true
			}
		}
	}
	return out, sc.Err()
}
