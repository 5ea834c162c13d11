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
		echo "Could not install them. Run this by hand:  apt-get update && $install" >&2
		exit 3
	fi
	rm -f "$log"
}

need_build() {
	need cc:gcc make:make '/usr/include/zlib.h:zlib1g-dev' '/usr/include/linux/fs.h:linux-libc-dev' \
		'/usr/include/stdio.h:libc6-dev'
}

need_tests() {
	need_build
	need pkg-config:pkg-config '/usr/include/check.h:check' mandoc:mandoc col:bsdextrautils losetup:mount mkfs.ext4:e2fsprogs \
		mkfs.vfat:dosfstools git:git
}

need_lint() {
	need_tests
	need clang:clang cppcheck:cppcheck clang-tidy:clang-tidy clang-format:clang-format shellcheck:shellcheck
	# The sanitizers' and the fuzzer's run time for clang, of the version that is installed.
	version=$(clang -dumpversion | cut -d. -f1)
	need "/usr/lib/llvm-$version/lib/clang/*/lib/linux/libclang_rt.fuzzer-*.a:libclang-rt-$version-dev"
}
