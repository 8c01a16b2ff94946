// Package layout fills the pages that are sent out from their layouts, files in the language
// of Go's text/template without its methods. What is filled in is escaped for the place
// where it stands, which is found by reading along; where there is no safe way the page
// fails, and no half of it goes out as if it were whole.
//
// It stands in for html/template for one reason, the size of the program: that package calls
// methods by names that it reads, so the linker must keep every method of every type. That
// was 2.4 MB of 21.8 on amd64.
package layout

import (
	"bytes"
	"fmt"
	"io"
	"reflect"
	"text/template/parse"
)

// HTML is filled in as it is, between tags.
type HTML string

// A Layout is a page to be filled in. It may be used by many at once.
type Layout struct {
	trees map[string]*parse.Tree
	root  string
	funcs map[string]any
}

// builtins are the functions that every layout has. The parser asks for their names.
var builtins = map[string]any{"and": true, "eq": true, "len": true, "ne": true, "not": true, "or": true}

// Parse reads a layout and the functions that it may call, which give a value, and maybe an error that ends the page.
func Parse(name, text string, funcs map[string]any) (*Layout, error) {
	trees, err := parse.Parse(name, text, "", "", funcs, builtins)
	if err != nil {
		return nil, fmt.Errorf("layout: %w", err)
	}
	return &Layout{trees: trees, root: name, funcs: funcs}, nil
}

// Must is for a layout that is part of the program.
func Must(l *Layout, err error) *Layout {
	if err != nil {
		panic(err)
	}
	return l
}

// A fault ends a page.
type fault struct{ error }

func fail(format string, args ...any) { panic(fault{fmt.Errorf("layout: "+format, args...)}) }

// Execute fills in data and writes the page, whole or not at all.
func (l *Layout) Execute(w io.Writer, data any) (err error) {
	defer func() {
		switch f := recover().(type) {
		case nil:
		case fault:
			err = f.error
		default:
			panic(f)
		}
	}()
	var page bytes.Buffer
	f := filler{layout: l, out: writer{to: &page}}
	f.tree(l.root, reflect.ValueOf(data))
	if f.out.at != inText {
		fail("%s ends within a tag", l.root)
	}
	_, err = w.Write(page.Bytes())
	return err
}

// A filler is one filling of a layout.
type filler struct {
	layout *Layout
	out    writer
	vars   []variable
}

type variable struct {
	name  string
	value reflect.Value
}

// tree fills one named part, which knows no variable of the others.
func (f *filler) tree(name string, dot reflect.Value) {
	t := f.layout.trees[name]
	if t == nil {
		fail("there is no part %q", name)
	}
	vars := f.vars
	f.vars = []variable{{"$", dot}}
	f.node(t.Root, dot)
	f.vars = vars
}

func (f *filler) node(n parse.Node, dot reflect.Value) {
	switch n := n.(type) {
	case *parse.ListNode:
		if n == nil { // no else
			return
		}
		for _, each := range n.Nodes {
			f.node(each, dot)
		}
	case *parse.TextNode:
		f.out.literal(n.Text)
	case *parse.ActionNode:
		if v := f.pipe(n.Pipe, dot); len(n.Pipe.Decl) == 0 {
			f.out.value(n.String(), v)
		}
	case *parse.IfNode:
		f.branch(&n.BranchNode, dot, false)
	case *parse.WithNode:
		f.branch(&n.BranchNode, dot, true)
	case *parse.RangeNode:
		f.each(n, dot)
	case *parse.TemplateNode:
		var with reflect.Value
		if n.Pipe != nil {
			with = f.pipe(n.Pipe, dot)
		}
		f.tree(n.Name, with)
	case *parse.CommentNode:
	default:
		fail("%s is not understood", n)
	}
}

// branch is if, or with, whose part is about what was asked for.
func (f *filler) branch(n *parse.BranchNode, dot reflect.Value, about bool) {
	mark := len(f.vars)
	v := f.pipe(n.Pipe, dot)
	switch {
	case !truth(v):
		f.node(n.ElseList, dot)
	case about:
		f.node(n.List, v)
	default:
		f.node(n.List, dot)
	}
	f.vars = f.vars[:mark]
}

func (f *filler) each(n *parse.RangeNode, dot reflect.Value) {
	mark := len(f.vars)
	list := plain(f.commands(n.Pipe, dot))
	if list.IsValid() && list.Kind() != reflect.Slice && list.Kind() != reflect.Array {
		fail("%s is no list", n.Pipe)
	}
	if !list.IsValid() || list.Len() == 0 {
		f.node(n.ElseList, dot)
	} else {
		for i := range list.Len() {
			for d, v := range n.Pipe.Decl { // one is what is in the list, of two the first is its number
				value := list.Index(i)
				if d == 0 && len(n.Pipe.Decl) == 2 {
					value = reflect.ValueOf(i)
				}
				f.vars = append(f.vars, variable{v.Ident[0], value})
			}
			f.node(n.List, list.Index(i))
			f.vars = f.vars[:mark]
		}
	}
	f.vars = f.vars[:mark]
}
