package link

import (
	"io/fs"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// machine is a device tree as Linux shows it, invented: two adapters of one
// make, one composite device with two ports, a legacy UART and a console.
func machine() fstest.MapFS {
	m := fstest.MapFS{}
	file := func(path, text string) { m[path] = &fstest.MapFile{Data: []byte(text + "\n")} }
	device := func(dir, vendor, product, serial, maker, text string) {
		file(dir+"/idVendor", vendor)
		file(dir+"/idProduct", product)
		if serial != "" {
			file(dir+"/serial", serial)
		}
		file(dir+"/manufacturer", maker)
		file(dir+"/product", text)
	}
	tty := func(name, dir, number string) {
		file(dir+"/bInterfaceNumber", number)
		file(dir+"/"+name+"/tty/"+name+"/dev", "188:0")
		symlink(m, "class/tty/"+name, "../../"+dir+"/"+name+"/tty/"+name)
	}
	device("devices/pci0/usb1/1-1", "1a2b", "0001", "", "Maker", "Adapter")
	tty("ttyUSB0", "devices/pci0/usb1/1-1/1-1:1.0", "00")
	device("devices/pci0/usb1/1-2.4", "1a2b", "0001", "", "Maker", "Adapter")
	tty("ttyUSB1", "devices/pci0/usb1/1-2.4/1-2.4:1.0", "00")
	device("devices/pci0/usb2/2-1", "3c4d", "beef", "R7", "Works", "Two ports")
	tty("ttyACM0", "devices/pci0/usb2/2-1/2-1:1.0", "00")
	tty("ttyACM1", "devices/pci0/usb2/2-1/2-1:1.2", "02")
	file("devices/platform/serial8250/tty/ttyS0/dev", "4:64")
	symlink(m, "class/tty/ttyS0", "../../devices/platform/serial8250/tty/ttyS0")
	file("class/tty/console/dev", "5:1")
	file("bus/usb-serial/devices/ttyUSB0/latency_timer", "16")
	return m
}

func symlink(m fstest.MapFS, name, target string) {
	m[name] = &fstest.MapFile{Data: []byte(target), Mode: fs.ModeSymlink}
}

func TestPortsOfALinuxMachine(t *testing.T) {
	list, err := sysfsPorts(machine())
	require.NoError(t, err)
	require.Equal(t, []Identity{
		{Path: "/dev/ttyACM0", Vendor: "3c4d", Product: "beef", Serial: "R7", Maker: "Works", Text: "Two ports", Interface: "00", Place: "2-1"},
		{Path: "/dev/ttyACM1", Vendor: "3c4d", Product: "beef", Serial: "R7", Maker: "Works", Text: "Two ports", Interface: "02", Place: "2-1"},
		{Path: "/dev/ttyUSB0", Vendor: "1a2b", Product: "0001", Maker: "Maker", Text: "Adapter", Interface: "00", Place: "1-1"},
		{Path: "/dev/ttyUSB1", Vendor: "1a2b", Product: "0001", Maker: "Maker", Text: "Adapter", Interface: "00", Place: "1-2.4"},
	}, list)
	require.Equal(t, 16, latencyTimer(machine(), "/dev/ttyUSB0"))
	require.Zero(t, latencyTimer(machine(), "/dev/ttyACM0"))
	_, err = sysfsPorts(fstest.MapFS{})
	require.Error(t, err)
}

func TestSelectionIsByIdentity(t *testing.T) {
	list, err := sysfsPorts(machine())
	require.NoError(t, err)
	pick := func(wish Identity) (string, error) {
		p, err := Select(list, &wish)
		if err != nil {
			return "", err
		}
		return p.Path, nil
	}
	path, err := pick(Identity{Vendor: "3C4D", Interface: "02"})
	require.NoError(t, err)
	assert.Equal(t, "/dev/ttyACM1", path)
	path, err = pick(Identity{Vendor: "1a2b", Place: "1-2.4"})
	require.NoError(t, err)
	assert.Equal(t, "/dev/ttyUSB1", path)
	_, err = pick(Identity{Vendor: "1a2b", Product: "0001"})
	require.ErrorIs(t, err, Ambiguous)
	assert.Contains(t, err.Error(), "place 1-2.4")
	assert.NotContains(t, err.Error(), "ttyACM")
	_, err = pick(Identity{Serial: "r7"})
	require.ErrorIs(t, err, NotFound, "serial numbers are as written")
	assert.Contains(t, err.Error(), "ttyUSB0", "it says what there is")
	_, err = pick(Identity{})
	require.ErrorIs(t, err, Ambiguous)
	p, err := Select(list[:1], &Identity{})
	require.NoError(t, err, "exactly one: automatic")
	assert.Equal(t, "/dev/ttyACM0", p.Path)
}
