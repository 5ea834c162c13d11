# Installs what is missing from Debian's packages; elsewhere names it. Sourced by the other scripts.
#
#   need PROGRAM_OR_FILE:PACKAGE...    makes sure each program (or absolute file) is there, installing its package
#
# Says first what it installs. Uses sudo when not root. With no rights it prints the exact command and stops.

need_elsewhere() {
	echo "This machine has no apt-get. Please install what provides these, then run this again:" >&2
	echo "    $*" >&2
	echo "On Fedora:  sudo dnf install gcc make zlib-devel check-devel pkgconf mandoc util-linux" >&2
	echo "On Arch:    sudo pacman -S gcc make zlib check pkgconf mandoc util-linux" >&2
	exit 2
}

need_missing() {
	for pair; do
		thing=${pair%%:*}
		case $thing in
		/*) [ -e "$thing" ] || ls $thing >/dev/null 2>&1 || echo "${pair#*:}" ;;
		*) command -v "$thing" >/dev/null 2>&1 || PATH="$PATH:/usr/sbin:/sbin" command -v "$thing" >/dev/null 2>&1 ||
			echo "${pair#*:}" ;;
		esac
	done | sort -u | tr '\n' ' '
}

need() {
	packages=$(need_missing "$@")
	[ -n "${packages% }" ] || return 0
	command -v apt-get >/dev/null 2>&1 || need_elsewhere "$packages"
	install="apt-get install -y --no-install-recommends $packages"
	if [ "$(id -u)" = 0 ]; then
		as=
	elif command -v sudo >/dev/null 2>&1; then
		as=sudo
	else
		echo "These packages are missing: $packages" >&2
		echo "Run this as root, then try again:" >&2
		echo "    apt-get update && $install" >&2
		exit 2
	fi
	echo "Installing from Debian's packages: $packages" >&2
	log=$(mktemp)
	if ! { $as apt-get update -qq && $as env DEBIAN_FRONTEND=noninteractive $install; } >"$log" 2>&1; then
		tail -n 20 "$log" >&2
		rm -f "$log"
		echo "Could not install them. Run this by hand:" >&2
		echo "    ${as:+$as }apt-get update && ${as:+$as }$install" >&2
		exit 3
	fi
	rm -f "$log"
}

build_needs='cc:gcc make:make /usr/include/zlib.h:zlib1g-dev /usr/include/linux/fs.h:linux-libc-dev /usr/include/stdio.h:libc6-dev'
test_needs='pkg-config:pkg-config /usr/include/check.h:check mandoc:mandoc col:bsdextrautils losetup:mount mkfs.ext4:e2fsprogs
	mkfs.vfat:dosfstools git:git python3:python3'

need_build() {
	need $build_needs
}

# All at once: who cannot install is told one command, not one after another.
need_tests() {
	need $build_needs $test_needs
}

need_lint() {
	need_tests
	need clang:clang cppcheck:cppcheck clang-tidy:clang-tidy clang-format:clang-format shellcheck:shellcheck
	# The sanitizers' and the fuzzer's run time for clang, of the version that is installed.
	version=$(clang -dumpversion | cut -d. -f1)
	need "/usr/lib/llvm-$version/lib/clang/*/lib/linux/libclang_rt.fuzzer-*.a:libclang-rt-$version-dev"
}

# Debian 12 has the static busybox in /bin, newer ones in /usr/bin; the one without the suffix lacks what the rig needs.
need_static_busybox() { [ -x /bin/busybox ] && ! ldd /bin/busybox >/dev/null 2>&1; }

need_rig() {
	command -v apt-get >/dev/null 2>&1 || {
		echo "The rig boots Debian's own kernel, which it fetches with apt-get: it needs Debian on amd64." >&2
		exit 2
	}
	need qemu-system-x86_64:qemu-system-x86 cpio:cpio depmod:kmod dmsetup:dmsetup mkfs.ext4:e2fsprogs xz:xz-utils
	need_static_busybox || need /no/such/file:busybox-static
}

# The package lists anew: from apt's own sources, whatever they are here. 1 when that needs rights this user lacks.
need_lists() {
	if [ "$(id -u)" = 0 ]; then
		apt-get update -qq
	elif command -v sudo >/dev/null 2>&1; then
		sudo apt-get update -qq
	else
		return 1
	fi
}

# need_download META_PACKAGE PATTERN LOG: downloads, into this folder and without installing it, the package that the first
# dependency of META_PACKAGE matching PATTERN names. Lists that are missing or too old are fetched once. Prints its name.
need_download() {
	for attempt in 1 2; do
		package=$(apt-cache depends "$1" 2>/dev/null | awk -v p="$2" '/Depends:/ && $2 ~ p { print $2; exit }')
		[ -n "$package" ] && apt-get download "$package" >>"$3" 2>&1 && echo "$package" && return 0
		[ $attempt = 2 ] || need_lists >>"$3" 2>&1 || break
	done
	return 1
}
