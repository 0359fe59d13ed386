#!/usr/bin/env bash
# Builds the board firmware, and the tools for it that Debian does not have.
#
#   build.sh packages          install the Debian packages that are missing
#   build.sh tinygo            build the Go compiler for microcontrollers
#   build.sh measure [OUT]     Cortex-M3: counts instructions, stack, sums
#   build.sh yardstick [OUT]   Cortex-M3: a plain C limiter, counted the same way
#   build.sh translated OUT D  Cortex-M3: the tick translated to C; D has types.h
#   build.sh rig-go [OUT]      Cortex-M3: the reference controller as a rig
#   build.sh rig-m3 [OUT]      Cortex-M3: the C rig
#   build.sh wild [OUT]        Cortex-M3: the C rig as boards are in the wild
#   build.sh rig-avr [OUT]     8-bit AVR: the C rig
#   build.sh rig-host [OUT]    this machine: the C rig on standard input and output
#   build.sh all               everything
#   build.sh run RIG           build rig-host, rig-m3, rig-go or rig-avr, and run it
#                              on standard input and output, as rig files ask
#
# Each but run prints the path of what it made. All of it lands in $HOLDLINE_BOARDS, or
# in holdline-boards under the user's cache folder, never in the repository.
# Elsewhere than on Debian, install what the list below stands for.
set -euo pipefail

packages=(
	g++ clang-19 llvm-19-dev libclang-19-dev lld-19 liblld-19-dev # to build and run the Go compiler
	gcc-arm-none-eabi libnewlib-arm-none-eabi qemu-system-arm     # Cortex-M3
	gcc-avr avr-libc qemu-system-misc                             # AVR
	gcc libclang-rt-19-dev                                        # this machine, and fuzzing
)
tinygo_version=v0.41.0

here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../.." && pwd)
rig=$root/examples/rig-c
warnings=(-std=c99 -Wall -Wextra -Wpedantic -Werror)
cache=${HOLDLINE_BOARDS:-${XDG_CACHE_HOME:-$HOME/.cache}/holdline-boards}
mkdir -p "$cache"

say() { printf '%s\n' "$*" >&2; }

packages() {
	local missing=() p
	for p in "${packages[@]}"; do
		dpkg-query -W -f '${db:Status-Status}' "$p" 2>/dev/null | grep -qx installed || missing+=("$p")
	done
	[ ${#missing[@]} -eq 0 ] && return
	say "installing ${missing[*]}"
	if [ "$(id -u)" -ne 0 ]; then
		say "run as root: apt-get install --no-install-recommends ${missing[*]}"
		exit 1
	fi
	apt-get -o DPkg::Lock::Timeout=600 update -qq >&2
	DEBIAN_FRONTEND=noninteractive apt-get -o DPkg::Lock::Timeout=600 \
		install -y -qq --no-install-recommends "${missing[@]}" >&2
}

# The compiler is built in a module of its own, so that ours stays small. Its
# root must be writable, and lacks one package that we do not use but it names.
tinygo() {
	local done=$cache/tinygo-$tinygo_version
	if [ ! -e "$done/goroot/ready" ]; then
		say "building TinyGo $tinygo_version (under a minute on two cores)"
		rm -rf "$done"
		mkdir -p "$done/module"
		(
			cd "$done/module"
			export GOFLAGS=-mod=mod GOWORK=off GOOS='' GOARCH='' CGO_ENABLED=1
			[ -e go.mod ] || go mod init tools.invalid/tinygo 2>/dev/null
			go get "github.com/tinygo-org/tinygo@$tinygo_version" 2>/dev/null
			go build -tags llvm19 -o "$done/tinygo" github.com/tinygo-org/tinygo
			from=$(go list -m -f '{{.Dir}}' github.com/tinygo-org/tinygo)
			mkdir "$done/goroot"
			cp -r --no-preserve=mode "$from/src" "$from/targets" "$from/lib" "$done/goroot/"
		)
		mkdir -p "$done/goroot/src/net" "$done/goroot/holdline"
		echo 'package net' >"$done/goroot/src/net/net.go"
		touch "$done/goroot/ready"
	fi
	echo "$done/tinygo"
}

arm_file() { realpath "$(arm-none-eabi-gcc -mcpu=cortex-m3 -mthumb "$1")"; }

# go_firmware PACKAGE OUT [FLAG...]: links without a heap, or not at all.
go_firmware() {
	local compiler board=$here/cortexm3 package=$1 out=$2
	shift 2
	compiler=$(tinygo)
	export TINYGOROOT=${compiler%/tinygo}/goroot
	cp "$board/startup.s" "$TINYGOROOT/holdline/startup.s"
	sed -e "s|@HERE@|$board|" -e "s|@LIBGCC@|$(arm_file -print-libgcc-file-name)|" \
		-e "s|@LIBC@|$(arm_file -print-file-name=libc_nano.a)|" \
		"$board/lm3s6965evb.json.in" >"$cache/lm3s6965evb.json"
	(cd "$root" && "$compiler" build -target "$cache/lm3s6965evb.json" -opt 2 "$@" -o "$out" "$package")
	echo "$out"
}

# c_firmware OUT SOURCE...: the same memory map and vectors.
c_firmware() {
	local out=$1
	shift
	arm-none-eabi-gcc -mcpu=cortex-m3 -mthumb -O2 -g "${warnings[@]}" \
		-ffunction-sections -fdata-sections -Wl,--gc-sections -nostartfiles --specs=nano.specs \
		-T "$here/cortexm3/lm3s6965evb.ld" -I "$here/cortexm3" -I "$rig" \
		-o "$out" "$here/cortexm3/startup.s" "$here/cortexm3/board.c" "$@"
	echo "$out"
}

# run starts a rig with its first serial port on standard input and output.
run() {
	local elf
	local board=(-display none -monitor none -chardev stdio,id=wire,signal=off -serial chardev:wire -serial null)
	elf=$(build "$1")
	case $1 in
	rig-host) exec "$elf" ;;
	rig-m3 | rig-go) exec qemu-system-arm -machine lm3s6965evb "${board[@]}" -kernel "$elf" ;;
	rig-avr) exec qemu-system-avr -machine mega2560 "${board[@]}" -bios "$elf" ;;
	*)
		say "no rig is called ${1:-nothing}: rig-host, rig-m3, rig-go, rig-avr"
		exit 2
		;;
	esac
}

build() {
	local out=${2:-$cache/$1.elf}
	case $1 in
	packages) packages ;;
	tinygo) tinygo ;;
	measure) go_firmware ./examples/boards/measure "$out" ;;
	yardstick) c_firmware "$out" "$here/yardstick/main.c" "$here/cortexm3/count.c" "$rig/limiter.c" ;;
	# what a test has made types.h for, in the folder of the third argument
	translated) c_firmware "$out" -I "$3" "$here"/translated/{m3,drive,tick}.c "$here/cortexm3/count.c" ;;
	translated-host)
		gcc -O2 -g "${warnings[@]}" -I "$3" -o "$out" "$here"/translated/{host,drive,tick}.c
		echo "$out"
		;;
	allocates) go_firmware ./examples/boards/allocates "$out" ;; # must fail
	rig-go) go_firmware ./examples/rig-go "$out" -panic trap ;;
	rig-m3) c_firmware "$out" "$rig/rig.c" "$rig/limiter.c" "$rig/glue.c" "$rig/m3.c" ;;
	wild) c_firmware "$out" "$rig/rig.c" "$rig/limiter.c" "$rig/glue.c" "$here/wild/wild.c" ;;
	rig-avr)
		avr-gcc -mmcu=atmega2560 -DF_CPU=16000000UL -O2 -g "${warnings[@]}" -ffunction-sections -fdata-sections \
			-Wl,--gc-sections -DRIG_FRAME=256 -DRIG_EVENTS=8 -DRIG_ITEMS=1 -o "$out" \
			"$rig/rig.c" "$rig/limiter.c" "$rig/glue.c" "$rig/avr.c"
		echo "$out"
		;;
	rig-host)
		gcc -O2 -g "${warnings[@]}" -o "$out" "$rig/rig.c" "$rig/limiter.c" "$rig/glue.c" "$rig/host.c"
		echo "$out"
		;;
	run) run "${2:-}" ;;
	all)
		packages
		for what in tinygo measure yardstick rig-go rig-m3 wild rig-avr rig-host; do
			build "$what"
		done
		;;
	*)
		sed -n '2,/^set/{/^#/s/^# \{0,1\}//p}' "$0" >&2
		exit 2
		;;
	esac
}

build "${@:-help}"
