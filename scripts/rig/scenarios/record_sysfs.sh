# Writes the sysfs tree of the disks here, in the form of tests/data/*.sysfs, to build/rig/out/.../rig.sysfs:
#   scripts/rig/run record_sysfs && cp build/rig/out/*record_sysfs/rig.sysfs tests/data/
stick
truncate -s 8M card.img
gadget_plug $work/card.img

seen=$work/seen
: >$seen
put_file() {
	[ -f "/sys/$1" ] || return 0
	# One line, the kernel's own bytes, odd ones as \xHH.
	printf '%s = ' "$1"
	tr -d '\n' <"/sys/$1" 2>/dev/null | hexdump -v -e '/1 "%02x\n"' | while read -r byte; do
		case $byte in
		2[0-9a-f] | [3-4][0-9a-f] | 5[0-9abdef] | 6[0-9a-f] | 7[0-9a-e]) printf "\\$(printf %o 0x$byte)" ;;
		*) printf '\\x%s' "$byte" ;;
		esac
	done
	echo
}
put_link() { [ ! -L "/sys/$1" ] || echo "$1 -> $(readlink "/sys/$1")"; }
put_folder() { # once each
	grep -qxF "$1" $seen && return
	echo "$1" >>$seen
	put_link "$1/subsystem"
	for name in vendor model rev type serial speed bcdDevice idVendor idProduct manufacturer product removable; do
		put_file "$1/$name"
	done
}
{
	echo "# Recorded on Linux $(uname -r) in the rig (scripts/rig/scenarios/record_sysfs.sh): virtio disks, a full-speed"
	echo "# stick on an emulated UHCI bus (its brand replaced by EMUL), a gadget of mass_storage on dummy_hcd."
	echo
	for disk_name in vda vdb "${stick#/dev/}" "${gadget#/dev/}"; do
		at=$(readlink -f "/sys/block/$disk_name")
		at=${at#/sys/}
		echo "block/$disk_name -> ../$at"
		echo "class/block/$disk_name -> ../../$at"
		echo "dev/block/$(cat "/sys/$at/dev") -> ../../$at"
		for name in dev size ro removable diskseq serial stat; do put_file "$at/$name"; done
		for name in logical_block_size physical_block_size max_sectors_kb write_cache fua; do put_file "$at/queue/$name"; done
		echo "$at/holders/"
		put_link "$at/device"
		at=${at%/block/*}
		while [ "$at" != devices ]; do
			put_folder "$at"
			at=$(dirname "$at")
		done
	done
} | sed "s/= QEMU/= EMUL/; s/ QEMU / EMUL /" >"$results/rig.sysfs"
