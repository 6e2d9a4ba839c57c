package notify

import (
	"fmt"
	"testing"
)

func TestDump(t *testing.T) {
	for n, l := range cases() {
		ct, _ := ParseContent(l.Payload)
		fmt.Println("=====", n, "|", Subject(l.Kind, ct, l.Subscriber.Prefs))
		m, err := composer().Compose(l, nil)
		if err != nil {
			t.Error(n, err)
			continue
		}
		v := composer().view(l, ct, nil, 4)
		tx, _, _ := renderParts(v)
		fmt.Println(tx)
		_ = m
	}
}
