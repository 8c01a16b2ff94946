package main

import (
	"fmt"
	"io"
	"net"
	"net/netip"
	"regexp"
	"strconv"
	"strings"
)

// hostName is one name of a machine as a browser sends it, without port and scheme.
var hostName = regexp.MustCompile(`^[a-z0-9_]([a-z0-9_-]*[a-z0-9_])?(\.[a-z0-9_]([a-z0-9_-]*[a-z0-9_])?)*$`)

// hostNames checks the names that the daemon shall answer as.
func hostNames(given []string) ([]string, error) {
	var names []string
	for _, name := range given {
		plain := strings.ToLower(strings.TrimSuffix(name, "."))
		if len(plain) > 253 || !hostName.MatchString(plain) {
			return nil, usage("--host-name %q is no bare name; write it without http://, port or *, as in smokehouse.example", name)
		}
		names = append(names, plain)
	}
	return names, nil
}

// wherever is what a listener is reached as.
type wherever struct {
	pages []string // URLs, the first for this machine itself
	open  bool     // to other machines
	tls   bool
}

// others are the pages that another machine can open.
func (w wherever) others() []string {
	if !w.open {
		return nil
	}
	var pages []string
	for _, page := range w.pages {
		if !strings.Contains(page, "//127.0.0.1:") && !strings.Contains(page, "//[::1]:") {
			pages = append(pages, page)
		}
	}
	return pages
}

// reach lists what a person can type to reach a listener. One on all addresses has
// the address [::], which nobody can open: then it is each address of the machine.
func reach(listener net.Addr, interfaces []net.Addr, names []string, tls bool) wherever {
	scheme := "http://"
	if tls {
		scheme = "https://"
	}
	at, err := netip.ParseAddrPort(listener.String())
	if err != nil { // not TCP
		return wherever{pages: []string{scheme + listener.String() + "/"}, tls: tls}
	}
	url := func(host string) string {
		return scheme + net.JoinHostPort(host, strconv.Itoa(int(at.Port()))) + "/"
	}
	address := at.Addr().Unmap()
	w := wherever{pages: []string{url(address.String())}, open: !address.IsLoopback(), tls: tls}
	if address.IsUnspecified() {
		w.pages = []string{url("127.0.0.1")}
		for _, a := range interfaces {
			prefix, err := netip.ParsePrefix(a.String())
			if err != nil {
				continue
			}
			ip := prefix.Addr().Unmap()
			if !ip.IsGlobalUnicast() || ip.Is6() && address.Is4() { // a link-local one wants a zone
				continue
			}
			w.pages = append(w.pages, url(ip.String()))
		}
	}
	if w.open { // on this machine alone a name stands for a proxy, which has a port of its own
		for _, name := range names {
			w.pages = append(w.pages, url(name))
		}
	}
	return w
}

// sayReach tells where the page is, and what others need to read it. self is the
// name of this machine, or nothing.
func sayReach(out io.Writer, w wherever, names []string, self string) {
	for _, page := range w.pages {
		fmt.Fprintf(out, "page     %s\n", page)
	}
	fmt.Fprintf(out, "metrics  %smetrics\n", w.pages[0])
	if !w.open {
		return
	}
	if w.tls {
		fmt.Fprintln(out, "others   whoever reaches these addresses can read; a browser that shall act is paired with: fumarium pair")
	} else {
		fmt.Fprintln(out, "others   whoever reaches these addresses can read; nothing is encrypted, so keep to a network that you trust")
	}
	if plain, err := hostNames([]string{self}); err == nil && len(names) == 0 && plain[0] != "localhost" {
		fmt.Fprintf(out, "         by name it answers after: --host-name %s\n", plain[0])
	}
}

// reachable is how a listener of this machine is reached.
func reachable(listener net.Listener, names []string, tls bool) wherever {
	interfaces, _ := net.InterfaceAddrs() // without them, the first line is right all the same
	return reach(listener.Addr(), interfaces, names, tls)
}

// announce says where a listener of this machine is reached.
func announce(out io.Writer, listener net.Listener, names []string, self string) {
	sayReach(out, reachable(listener, names, false), names, self)
}
