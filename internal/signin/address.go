package signin

import (
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
)

// secure tells whether the browser speaks HTTPS.
func (a *Accounts) secure(r *http.Request) bool {
	return r.TLS != nil || a.Proxied && lastOf(r.Header.Values("X-Forwarded-Proto")) == "https"
}

// Origin is the address of the site as the browser that asks sees it, without a
// path: "https://log.example".
func (a *Accounts) Origin(r *http.Request) string {
	if a.secure(r) {
		return "https://" + r.Host
	}
	return "http://" + r.Host
}

// address is who is asking, for counting tries: an IPv4 address, or the part of
// an IPv6 address that names a network, of which one machine has many.
func (a *Accounts) address(r *http.Request) string {
	text := ""
	if a.Proxied {
		text = lastOf(r.Header.Values("X-Forwarded-For"))
	}
	if text == "" {
		text = r.RemoteAddr
		if host, _, err := net.SplitHostPort(text); err == nil {
			text = host
		}
	}
	ip, err := netip.ParseAddr(text)
	if err != nil {
		return text
	}
	if ip = ip.Unmap().WithZone(""); ip.Is6() {
		return netip.PrefixFrom(ip, 64).Masked().String()
	}
	return ip.String()
}

// lastOf is the last of a header's values: the one that the nearest proxy wrote.
func lastOf(values []string) string {
	if len(values) == 0 {
		return ""
	}
	all := strings.Split(values[len(values)-1], ",")
	return strings.TrimSpace(all[len(all)-1])
}

// Local gives the address to go on to after signing in: next, if that is a page
// of this site, else the first page. Browsers take "//name" and "/\name" for
// other sites, and drop tabs and line ends before they look.
func Local(next string) string {
	u, err := url.Parse(next)
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil || u.Opaque != "" ||
		!strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || len(next) > 2000 ||
		strings.ContainsFunc(next, func(r rune) bool { return r == '\\' || r <= ' ' || r == 0x7f }) {
		return "/"
	}
	return next
}
