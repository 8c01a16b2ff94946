package campaign

import (
	"fmt"
	"math"
	"reflect"
)

// unfinite finds a float that is infinite or not a number.
func unfinite(v reflect.Value, path string) string {
	if finite(v) {
		return "" // the usual case, spared the path
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if !finite(v.Field(i)) {
				return unfinite(v.Field(i), path+"."+v.Type().Field(i).Name)
			}
		}
	case reflect.Array:
		for i := range v.Len() {
			if !finite(v.Index(i)) {
				return unfinite(v.Index(i), fmt.Sprintf("%s[%d]", path, i))
			}
		}
	}
	return path
}

func finite(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Float64, reflect.Float32:
		f := v.Float()
		return !math.IsNaN(f) && !math.IsInf(f, 0)
	case reflect.Struct:
		for i := range v.NumField() {
			if !finite(v.Field(i)) {
				return false
			}
		}
	case reflect.Array:
		switch v.Type().Elem().Kind() {
		case reflect.Float64, reflect.Float32, reflect.Struct, reflect.Array:
		default:
			return true
		}
		for i := range v.Len() {
			if !finite(v.Index(i)) {
				return false
			}
		}
	}
	return true
}
