package ingest

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const shapeA = `{"type":"FeatureCollection","features":[{"id":"1","geometry":null,"properties":{"value":"1.5","time":"t","qualifier":null}},{"id":"2","geometry":{"type":"Point","coordinates":[1,2]},"properties":{"value":"1.6","time":"t","qualifier":["A"]}}]}`

func TestSchemaNamesTheFieldThatMoved(t *testing.T) {
	t.Parallel()
	old := SchemaOf([]byte(shapeA))
	require.Equal(t, "text", old["features[].properties.value"])
	require.Equal(t, "list|null", old["features[].properties.qualifier"])

	for _, c := range []struct {
		name, body string
		want       []string
	}{
		{"same shape, more rows", strings.Replace(shapeA, `{"id":"2"`,
			`{"id":"3","geometry":null,"properties":{"value":"2","time":"t","qualifier":null}},{"id":"2"`, 1), nil},
		{"renamed", strings.ReplaceAll(shapeA, `"value"`, `"result"`),
			[]string{"features[].properties.value is gone; new there: features[].properties.result"}},
		{"text became a number", strings.NewReplacer(`"1.5"`, "1.5", `"1.6"`, "1.6").Replace(shapeA),
			[]string{"features[].properties.value is number, was text"}},
		{"new field", strings.ReplaceAll(shapeA, `"time":"t"`, `"time":"t","unit":"m"`),
			[]string{"features[].properties.unit is new"}},
		{"a page with a next one", strings.Replace(shapeA, `{"type"`, `{"links":[{"rel":"next","href":"x"}],"type"`, 1),
			nil},
		{"linkage is no link", strings.Replace(shapeA, `{"type"`, `{"linkage":[{"rel":"next"}],"type"`, 1),
			[]string{"linkage is new"}},
		{"qualifier all null is no move", strings.Replace(shapeA, `["A"]`, "null", 1), nil},
		{"no rows says nothing", `{"type":"FeatureCollection","features":[]}`, nil},
		{"moved a level up", `{"type":"FeatureCollection","features":[{"id":"1","geometry":null,"value":"1","properties":{"time":"t","qualifier":null}}]}`,
			[]string{"features[].properties.value is gone", "features[].value is new"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := SchemaOf([]byte(c.body)).Moved(old)
			require.Equal(t, c.want, got)
			if c.want == nil {
				require.Empty(t, old.Moved(SchemaOf([]byte(c.body))), "nor the other way round")
			}
		})
	}
}

func TestSchemaXML(t *testing.T) {
	t.Parallel()
	old := SchemaOf([]byte(`<a xmlns="urn:x"><p><time>1</time><value uom="m">2</value></p><p><time>2</time><value uom="m">2</value></p></a>`))
	now := SchemaOf([]byte(`<b:a xmlns:b="urn:x"><b:p><b:time>1</b:time><b:value unit="m">2</b:value></b:p></b:a>`))
	require.Equal(t, []string{"a/p/value/@uom is gone; new there: a/p/value/@unit"}, now.Moved(old),
		"prefixes do not count")
	require.Nil(t, SchemaOf([]byte("METAR")))
}

func TestSchemaPack(t *testing.T) {
	t.Parallel()
	s := SchemaOf([]byte(shapeA))
	fp, back := UnpackSchema(s.Pack())
	require.Equal(t, s, back)
	require.Equal(t, s.Fingerprint(), fp)
	require.NotEqual(t, s.Fingerprint(), SchemaOf([]byte(`{"a":1}`)).Fingerprint())

	var wide strings.Builder
	for i := range 1000 {
		fmt.Fprintf(&wide, `"%x":%d,`, i*7919*104729, i)
	}
	big := SchemaOf([]byte("{" + wide.String() + `"z":1}`))
	require.Len(t, big, schemaPaths)
	require.Less(t, len(big.Pack()), 2000)
	fp, back = UnpackSchema(big.Pack())
	require.Equal(t, big.Fingerprint(), fp)
	require.Nil(t, back, "too long to keep: the fingerprint alone")

	for _, text := range []string{"", "else", "schema=", "schema=ab:###", "schema=ab:QUJD"} {
		_, back := UnpackSchema(text)
		require.Nil(t, back, text)
	}
	require.Empty(t, Schema(nil).Pack())
}

func FuzzSchemaOf(f *testing.F) {
	f.Add([]byte(shapeA))
	f.Add([]byte(`<a><b c="d"/></a>`))
	f.Add([]byte(`[[[{"a":[1,{"b":null}]}]]]`))
	f.Fuzz(func(t *testing.T, body []byte) {
		s := SchemaOf(body)
		require.LessOrEqual(t, len(s), schemaPaths)
		require.Empty(t, s.Moved(s))
		require.LessOrEqual(t, len(s.Pack()), 2000)
	})
}

// What stands behind the rows of a long page is not new on a short one, nor gone
// from a long one; a field of the rows that moved is still named.
func TestSchemaOfALongPage(t *testing.T) {
	t.Parallel()
	page := func(rows int, field string) Schema {
		one := `{"id":"1","properties":{"` + field + `":"1.5","time":"t"}}`
		return SchemaOf([]byte(`{"type":"FeatureCollection","features":[` + strings.Repeat(one+",", rows-1) + one +
			`],"numberReturned":1,"timeStamp":"t"}`))
	}
	short, long := page(2, "value"), page(5000, "value")
	require.Empty(t, short.Moved(long))
	require.Empty(t, long.Moved(short))
	_, kept := UnpackSchema(long.Pack())
	require.Empty(t, short.Moved(kept), "nor when it was kept meanwhile")
	require.Equal(t, []string{"features[].properties.value is gone; new there: features[].properties.result"},
		page(5000, "result").Moved(short))
}
