package link

import (
	"fmt"
	"io/fs"
	"path"
	"sort"
	"strings"
)

// Identity is a USB serial port by what does not change when its name does. As a
// wish, empty fields fit anything.
type Identity struct {
	Path      string `json:"path"`                // of the device file, or its name: COM7
	Vendor    string `json:"vendor,omitempty"`    // four hexadecimal digits
	Product   string `json:"product,omitempty"`   // four hexadecimal digits
	Serial    string `json:"serial,omitempty"`    // number, as the maker wrote it
	Maker     string `json:"maker,omitempty"`     // in words
	Text      string `json:"text,omitempty"`      // the product in words
	Interface string `json:"interface,omitempty"` // two hexadecimal digits; tells the ports of one device apart
	Place     string `json:"place,omitempty"`     // bus and sockets, as 1-2.3
}

// Fits reports whether a port is what is wished for.
func (p *Identity) Fits(wish *Identity) bool {
	same := func(wish, got string) bool { return wish == "" || strings.EqualFold(wish, got) }
	return same(wish.Vendor, p.Vendor) && same(wish.Product, p.Product) && same(wish.Interface, p.Interface) &&
		(wish.Serial == "" || wish.Serial == p.Serial) && (wish.Place == "" || wish.Place == p.Place) &&
		(wish.Path == "" || wish.Path == p.Path)
}

// String gives what tells a port from others.
func (p *Identity) String() string {
	var parts []string
	add := func(name, x string) {
		if x != "" {
			parts = append(parts, name+" "+x)
		}
	}
	if p.Path != "" {
		parts = append(parts, p.Path)
	}
	add("vendor", p.Vendor)
	add("product", p.Product)
	add("serial", p.Serial)
	add("interface", p.Interface)
	add("place", p.Place)
	if len(parts) == 0 {
		return "any USB serial port"
	}
	return strings.Join(parts, ", ")
}

// key names the device for a lock.
func (p *Identity) key() string {
	if p.Vendor == "" {
		return p.Path
	}
	return strings.Join([]string{p.Vendor, p.Product, p.Serial, p.Interface, p.Place}, "-")
}

// Select gives the one port that fits a wish. None is NotFound, several are
// Ambiguous; both list what there is.
func Select(ports []Identity, wish *Identity) (*Identity, error) {
	var fit []*Identity
	for i := range ports {
		if ports[i].Fits(wish) {
			fit = append(fit, &ports[i])
		}
	}
	switch len(fit) {
	case 1:
		return fit[0], nil
	case 0:
		e := fault(NotFound, "plug the rig in, or correct the rig file's [port]", "no port fits %s%s", wish, listed(ports, "; there are: "))
		return nil, e
	}
	several := make([]Identity, len(fit))
	for i, p := range fit {
		several[i] = *p
	}
	return nil, fault(Ambiguous, "say more in the rig file's [port]: serial, interface or place", "%d ports fit %s%s", len(fit), wish, listed(several, ": "))
}

func listed(ports []Identity, lead string) string {
	var s []string
	for i := range ports {
		s = append(s, ports[i].String())
	}
	if len(s) == 0 {
		return ""
	}
	return lead + strings.Join(s, " | ")
}

// sysfsPorts lists the USB serial ports that a Linux kernel knows, from its
// device tree. It opens no port. Other serial ports are left out: opening a
// legacy UART can hang.
func sysfsPorts(sys fs.FS) ([]Identity, error) {
	const class = "class/tty"
	entries, err := fs.ReadDir(sys, class)
	if err != nil {
		return nil, fmt.Errorf("list serial ports: %w", err)
	}
	var list []Identity
	for _, e := range entries {
		target, err := fs.ReadLink(sys, path.Join(class, e.Name()))
		if err != nil {
			continue // no device behind it, or gone since
		}
		if p, ok := usbPort(sys, path.Join(class, target), e.Name()); ok {
			list = append(list, p)
		}
	}
	sort.Slice(list, func(i, j int) bool { return list[i].Path < list[j].Path })
	return list, nil
}

// usbPort walks up from a port's folder to its USB interface and device.
func usbPort(sys fs.FS, dir, name string) (p Identity, ok bool) {
	p.Path = "/dev/" + name
	for ; dir != "." && dir != "/"; dir = path.Dir(dir) {
		if x := attribute(sys, dir, "bInterfaceNumber"); x != "" && p.Interface == "" {
			p.Interface = x
		}
		if v := attribute(sys, dir, "idVendor"); v != "" {
			p.Vendor, p.Product = v, attribute(sys, dir, "idProduct")
			p.Serial, p.Maker, p.Text = attribute(sys, dir, "serial"), attribute(sys, dir, "manufacturer"), attribute(sys, dir, "product")
			p.Place = path.Base(dir)
			return p, true
		}
	}
	return p, false
}

func attribute(sys fs.FS, dir, name string) string {
	b, err := fs.ReadFile(sys, path.Join(dir, name))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}

// LatencyTimer reads how long a USB serial chip holds bytes back, in
// milliseconds, from a Linux kernel; 0 if it does not say.
func latencyTimer(sys fs.FS, port string) (ms int) {
	fmt.Sscan(attribute(sys, "bus/usb-serial/devices/"+path.Base(port), "latency_timer"), &ms)
	return ms
}
