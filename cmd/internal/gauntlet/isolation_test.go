package gauntlet

import (
	"math"
	"reflect"
	"strings"
	"time"
)

// leaves calls f for every settable number, string and time of a value, with its
// path: of slices and maps the first element alone.
func leaves(v reflect.Value, path string, f func(path string, leaf reflect.Value)) {
	switch v.Kind() {
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			f(path, v)
			return
		}
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				leaves(v.Field(i), path+"."+v.Type().Field(i).Name, f)
			}
		}
	case reflect.Slice, reflect.Array:
		if v.Len() > 0 {
			leaves(v.Index(0), path+"[0]", f)
		}
	case reflect.Pointer:
		if !v.IsNil() {
			leaves(v.Elem(), path, f)
		}
	case reflect.Float64, reflect.Int, reflect.Int64, reflect.String:
		f(path, v)
	}
}

// hostile are the values that a leaf of each kind is set to.
func hostile(leaf reflect.Value) (out []reflect.Value) {
	add := func(vs ...any) {
		for _, x := range vs {
			out = append(out, reflect.ValueOf(x).Convert(leaf.Type()))
		}
	}
	switch leaf.Kind() {
	case reflect.Float64:
		add(math.NaN(), math.Inf(1), 1e308, -1e300)
	case reflect.Int, reflect.Int64:
		add(math.MaxInt32, math.MinInt32, -1)
	case reflect.String:
		add("", strings.Repeat("flood ", 20000), "a\r\nBcc: x@y.example\r\n\r\nb", "<script>alert(1)</script>",
			"NaN %!d(nil) <nil>", "\x00\xff\xfe", "\u202e\u2028=?utf-8?q?x?=")
	case reflect.Struct:
		add(time.Time{}, time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC), time.Date(1, 1, 2, 0, 0, 0, 0, time.UTC))
	}
	return out
}
