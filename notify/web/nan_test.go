package web

import (
	"reflect"
	"time"
)

// bend sets every float of v to x.
func bend(v reflect.Value, x float64) {
	switch v.Kind() {
	case reflect.Struct:
		if v.Type() == reflect.TypeOf(time.Time{}) {
			return
		}
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				bend(v.Field(i), x)
			}
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			bend(v.Index(i), x)
		}
	case reflect.Pointer:
		if !v.IsNil() {
			bend(v.Elem(), x)
		}
	case reflect.Float64:
		if v.CanSet() {
			v.SetFloat(x)
		}
	}
}
