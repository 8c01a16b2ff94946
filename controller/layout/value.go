package layout

import (
	"fmt"
	"reflect"
	"text/template/parse"
)

// pipe works out what stands between braces. What it declares is known from then on.
func (f *filler) pipe(p *parse.PipeNode, dot reflect.Value) reflect.Value {
	v := f.commands(p, dot)
	for _, d := range p.Decl {
		if !p.IsAssign {
			f.vars = append(f.vars, variable{d.Ident[0], v})
			continue
		}
		for i := len(f.vars) - 1; ; i-- {
			if i < 0 {
				fail("%s is not declared", d)
			}
			if f.vars[i].name == d.Ident[0] {
				f.vars[i].value = v
				break
			}
		}
	}
	return v
}

func (f *filler) commands(p *parse.PipeNode, dot reflect.Value) (v reflect.Value) {
	for i, c := range p.Cmds {
		var last []reflect.Value
		if i > 0 {
			last = []reflect.Value{v}
		}
		v = f.command(c, dot, last)
	}
	return v
}

// command is a value, or a function with what it is given; last comes from the command
// before it.
func (f *filler) command(c *parse.CommandNode, dot reflect.Value, last []reflect.Value) reflect.Value {
	name, is := c.Args[0].(*parse.IdentifierNode)
	if !is {
		if len(c.Args) > 1 || len(last) > 0 {
			fail("%s takes nothing", c.Args[0])
		}
		return f.operand(c.Args[0], dot)
	}
	var args []reflect.Value
	for _, a := range c.Args[1:] {
		args = append(args, f.operand(a, dot))
	}
	return f.call(name.Ident, append(args, last...))
}

func (f *filler) operand(n parse.Node, dot reflect.Value) reflect.Value {
	switch n := n.(type) {
	case *parse.DotNode:
		return dot
	case *parse.FieldNode:
		return fields(dot, n.Ident)
	case *parse.VariableNode:
		for i := len(f.vars) - 1; i >= 0; i-- {
			if f.vars[i].name == n.Ident[0] {
				return fields(f.vars[i].value, n.Ident[1:])
			}
		}
		fail("%s is not declared", n)
	case *parse.PipeNode:
		return f.pipe(n, dot)
	case *parse.ChainNode:
		return fields(f.operand(n.Node, dot), n.Field)
	case *parse.IdentifierNode:
		return f.call(n.Ident, nil)
	case *parse.StringNode:
		return reflect.ValueOf(n.Text)
	case *parse.BoolNode:
		return reflect.ValueOf(n.True)
	case *parse.NumberNode:
		if n.IsInt {
			return reflect.ValueOf(int(n.Int64))
		}
		return reflect.ValueOf(n.Float64)
	}
	fail("%s is not understood", n)
	return reflect.Value{}
}

// fields goes down a chain of them.
func fields(v reflect.Value, chain []string) reflect.Value {
	for _, name := range chain {
		in := plain(v)
		switch {
		case !in.IsValid():
			fail("%s is asked of nothing", name)
		case in.Kind() != reflect.Struct:
			fail("%s is asked of a %s", name, in.Type())
		}
		field, known := in.Type().FieldByName(name)
		if !known || !field.IsExported() {
			fail("%s has no field %s", in.Type(), name)
		}
		v = in.FieldByIndex(field.Index)
	}
	return v
}

// plain is what pointers and interfaces lead to; not valid where that is nothing.
func plain(v reflect.Value) reflect.Value {
	for v.IsValid() && (v.Kind() == reflect.Pointer || v.Kind() == reflect.Interface) {
		v = v.Elem()
	}
	return v
}

// truth is as in text/template: what is not zero, empty or nil.
func truth(v reflect.Value) bool {
	if v.IsValid() && v.Kind() == reflect.Interface {
		v = v.Elem()
	}
	switch {
	case !v.IsValid():
		return false
	case v.Kind() == reflect.Slice || v.Kind() == reflect.Map || v.Kind() == reflect.Array:
		return v.Len() > 0
	case v.Kind() == reflect.Struct:
		return true
	}
	return !v.IsZero()
}

// same compares texts, numbers and truths.
func same(a, b reflect.Value) bool {
	a, b = plain(a), plain(b)
	switch {
	case !a.IsValid() || !b.IsValid():
		return a.IsValid() == b.IsValid()
	case a.CanInt() && b.CanInt():
		return a.Int() == b.Int()
	case a.CanUint() && b.CanInt():
		return b.Int() >= 0 && a.Uint() == uint64(b.Int())
	case a.Kind() != b.Kind() || !a.Comparable():
		fail("a %s is compared with a %s", a.Type(), b.Type())
	case a.Kind() == reflect.String:
		return a.String() == b.String()
	}
	return a.Equal(b)
}

func (f *filler) call(name string, args []reflect.Value) reflect.Value {
	if fn, own := f.layout.funcs[name]; own {
		return called(name, reflect.ValueOf(fn), args)
	}
	need := map[string]int{"not": 1, "len": 1, "eq": 2, "ne": 2}[name]
	if need > 0 && len(args) != need || len(args) == 0 {
		fail("%s is given %d values", name, len(args))
	}
	switch name {
	case "eq":
		return reflect.ValueOf(same(args[0], args[1]))
	case "ne":
		return reflect.ValueOf(!same(args[0], args[1]))
	case "not":
		return reflect.ValueOf(!truth(args[0]))
	case "len":
		v := plain(args[0])
		if !v.IsValid() || v.Kind() != reflect.Slice && v.Kind() != reflect.String && v.Kind() != reflect.Map && v.Kind() != reflect.Array {
			fail("len is given no list")
		}
		return reflect.ValueOf(v.Len())
	case "and", "or": // the first that decides, or the last
		for _, a := range args[:len(args)-1] {
			if truth(a) == (name == "or") {
				return a
			}
		}
		return args[len(args)-1]
	}
	fail("there is no function %s", name)
	return reflect.Value{}
}

// called calls a function of the layout's owner.
func called(name string, fn reflect.Value, args []reflect.Value) reflect.Value {
	t := fn.Type()
	if t.NumOut() == 0 || t.IsVariadic() || t.NumIn() != len(args) {
		fail("%s is given %d values", name, len(args))
	}
	for i := range args {
		want := t.In(i)
		if v := args[i]; v.IsValid() && v.Type().AssignableTo(want) {
			continue
		}
		v := plain(args[i])
		switch {
		case v.IsValid() && (v.Type().AssignableTo(want) || v.Kind() == want.Kind()):
		case v.IsValid() && v.CanInt() && want.Kind() == reflect.Float64:
		default:
			fail("%s is not given a %s", name, want)
		}
		args[i] = v.Convert(want)
	}
	out := fn.Call(args)
	if len(out) == 2 {
		if err, bad := out[1].Interface().(error); bad {
			panic(fault{fmt.Errorf("layout: %s: %w", name, err)})
		}
	}
	return out[0]
}
