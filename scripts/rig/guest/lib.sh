# The vocabulary of the scenarios, as in tests/cli/lib.sh where the words are the same. Loaded by the guest before each.
#
#   run STATUS COMMAND...        runs it, demands this very exit status; output in $out and $err
#   start COMMAND...             starts it in the background; finish STATUS waits for it and demands this exit status
#   says TEXT / says_not TEXT    stdout or stderr of it contains / does not contain TEXT
#   note TEXT                    a line on the console
#   fail TEXT                    ends the scenario
#   is WHAT GOT WANTED           demands that two texts are the same
#   between WHAT GOT LOW HIGH    demands a number in this range (decimals are fine)
#   stick                        device node of the emulated full-speed stick in $stick
#   fast_stick                   the other emulated stick, on a super-speed bus, in $stick
#   gadget_plug FILE [KEY=VALUE...]  makes a USB gadget whose drive lies on FILE (a file or block device), plugs it in;
#                                its node in $gadget. KEYs are those of the LUN in configfs: ro, nofua, removable, cdrom
#   gadget_unplug                pulls the plug: the host loses the drive; the gadget stays as it is
#   gadget_replug                plugs it in again; node in $gadget
#   gadget_swap FILE             takes the medium out ("" for none) or puts another in, by force, of whatever size
#   gadget_remove                unplugs and takes it apart
#   gadget_poll MILLISECONDS     the host looks that often what is in $gadget, as desktops do; 0: never
#   usb_of DEVICE                its USB device's folder in sysfs, in $usb
#   deauthorise DEVICE / authorise   the host turns it away, as by hand in sysfs / takes it back (node in $gadget)
#   driver_off DEVICE / driver_on    the host's storage driver lets go of it / takes it back (node in $gadget)
#   reset_usb DEVICE             the host resets it
#   moved DEVICE COUNT           waits until it has answered so many more commands to what was started, SG_IO's among them
#   sums                         the checksums of all images in $work and the files named by $others
#   token DEVICE                 its consent token, in $token
#   field DEVICE NAME            a column of 'targets --csv -', after token
#   column NAME FILE [N]         the N-th value (1) of a column of a CSV file
#   $work                        a folder in memory; $disk: one on another disk (ext4), kept across resets
#   model_plug MODEL, ...        a gadget that does what a model file says: see model.sh
#   reset                        hard reset now; the scenario starts again with $RIG_AFTER_RESET=yes
. /rig/settings
work=/tmp/work
disk=/mnt/disk
results=/results/$RIG_JOB
rm -rf $work
mkdir -p $work $disk
out=$work/out err=$work/err
grep -q " $disk " /proc/mounts || mount -t ext4 /dev/vdb $disk
cd $work || exit 1
trap 'take_down' EXIT

take_down() {
	status=$?
	trap - EXIT
	cd /
	awk '$2 ~ "^/mnt/" && $2 != "/mnt/disk" { print $2 }' /proc/mounts | while read -r place; do umount "$place"; done
	gadget_remove
	model_remove
	modprobe -r xhci-pci 2>/dev/null
	for dm in $(dmsetup ls 2>/dev/null | awk '$1 != "No" { print $1 }'); do dm remove -f "$dm"; done
	losetup -a | cut -d: -f1 | while read -r loop; do losetup -d "$loop"; done
	cp $work/*.assay $work/*.csv "$results/" 2>/dev/null
	exit $status
}

note() { echo "         $*"; }
fail() {
	echo "FAILED:  $*"
	for stream in out err; do
		[ -s "$work/$stream" ] && echo "--- std$stream" && head -n 60 "$work/$stream"
	done
	dmesg | tail -n 8
	exit 1
}
run() {
	wanted=$1
	shift
	status=0
	"$@" >$out 2>$err </dev/null || status=$?
	[ "$status" = "$wanted" ] || fail "'$*' exited with $status, not $wanted"
}
# start COMMAND... in the background; finish STATUS waits for it and demands this exit status.
start() {
	started="$*"
	"$@" >$out 2>$err </dev/null &
	child=$!
}
finish() {
	status=0
	wait "$child" || status=$?
	[ "$status" = "$1" ] || fail "'$started' exited with $status, not $1"
}
# However its lines are folded.
unfolded() { cat $out $err | tr -s ' \n' '  '; }
says() { unfolded | grep -qF -e "$1" || fail "nothing says '$1'"; }
says_not() { ! unfolded | grep -qF -e "$1" || fail "something says '$1'"; }
is() { [ "$2" = "$3" ] || fail "$1 is '$2', not '$3'"; }
between() {
	awk -v got="$2" -v low="$3" -v high="$4" 'BEGIN { exit !(got != "" && got + 0 >= low && got + 0 <= high) }' ||
		fail "$1 is '$2', not between $3 and $4"
}

# wait_for SECONDS COMMAND...: tries it ten times a second. The seconds are for a machine that is busy with other things.
wait_for() {
	tries=$(($1 * 10))
	shift
	while [ $tries -gt 0 ]; do
		"$@" >/dev/null 2>&1 && return 0
		sleep 0.1
		tries=$((tries - 1))
	done
	return 1
}

# The disk whose USB device has this serial number.
node_of_serial() {
	for block in /sys/block/sd*; do
		[ -e "$block/device" ] || continue
		up=$(readlink -f "$block/device")
		while [ "$up" != / ]; do
			if [ -e "$up/serial" ]; then
				[ "$(cat "$up/serial")" = "$1" ] && [ "$(cat "$block/size")" -gt 0 ] && echo "/dev/${block##*/}"
				break
			fi
			up=$(dirname "$up")
		done
	done | grep .
}
stick() {
	wait_for 60 node_of_serial "${1:-STICK-0001}" || fail "the stick did not appear"
	stick=$(node_of_serial "${1:-STICK-0001}")
	wait_for 60 test -b "$stick" || fail "$stick has no node"
}
# Only who asks for it loads its driver: it is no part of the other scenarios.
fast_stick() {
	modprobe xhci-pci || fail "no xhci-pci"
	stick STICK-0002
}

configfs=/sys/kernel/config/usb_gadget/rig
lun=$configfs/functions/mass_storage.0/lun.0
gadget_plug() {
	file=$1
	shift
	# Full speed, like the gadgets this is about; the emulated bus knows no more than that then.
	modprobe dummy_hcd is_high_speed="${gadget_high_speed:-0}" is_super_speed=0 || fail "no dummy_hcd"
	modprobe libcomposite && modprobe usb_f_mass_storage || fail "no mass storage function"
	mkdir -p $configfs
	echo 0x1209 >$configfs/idVendor # pid.codes: numbers for tests
	echo 0x0001 >$configfs/idProduct
	mkdir -p $configfs/strings/0x409 $configfs/configs/c.1
	echo "GADGET-0002" >$configfs/strings/0x409/serialnumber
	echo "Tidepool" >$configfs/strings/0x409/manufacturer
	echo "Logger" >$configfs/strings/0x409/product
	mkdir -p $configfs/functions/mass_storage.0
	echo 1 >$lun/removable
	echo "TidepoolLogger          0001" >$lun/inquiry_string
	for setting; do echo "${setting#*=}" >"$lun/${setting%%=*}" || fail "the LUN does not take $setting"; done
	echo "$file" >$lun/file || fail "the gadget does not take $file"
	ln -s $configfs/functions/mass_storage.0 $configfs/configs/c.1/
	gadget_replug
}
gadget_replug() {
	echo dummy_udc.0 >$configfs/UDC || fail "cannot plug the gadget in"
	gadget_is_back
}
gadget_is_back() {
	wait_for 60 node_of_serial GADGET-0002 || fail "the gadget did not appear"
	gadget=$(node_of_serial GADGET-0002)
	wait_for 60 test -b "$gadget" || fail "$gadget has no node"
}
gadget_unplug() { echo "" >$configfs/UDC; }
gadget_swap() {
	echo 1 >$lun/forced_eject
	[ -z "$1" ] || echo "$1" >$lun/file
}
gadget_poll() { echo "$1" >"/sys/block/${gadget#/dev/}/events_poll_msecs"; }
usb_of() {
	usb=$(readlink -f "/sys/block/${1#/dev/}/device")
	while [ ! -e "$usb/busnum" ]; do
		[ "$usb" != / ] || fail "$1 is no USB drive"
		usb=$(dirname "$usb")
	done
}
deauthorise() {
	usb_of "$1"
	echo 0 >"$usb/authorized"
}
authorise() {
	echo 1 >"$usb/authorized"
	gadget_is_back
}
driver_off() {
	usb_of "$1"
	basename "$usb"/*:1.0 >/sys/bus/usb/drivers/usb-storage/unbind
}
driver_on() {
	basename "$usb"/*:1.0 >/sys/bus/usb/drivers/usb-storage/bind
	gadget_is_back
}
reset_usb() {
	usb_of "$1"
	usb_reset "$usb" || fail "$1 cannot be reset"
}
commands() { echo $(($(cat "/sys/block/${1#/dev/}/device/iodone_cnt"))); }
has_answered() { [ "$(commands "$1")" -ge "$2" ] || ! kill -0 "$child"; }
moved() {
	wait_for 300 has_answered "$1" $(($(commands "$1") + $2)) || fail "$1 has not answered $2 commands in five minutes"
	kill -0 "$child" 2>/dev/null || fail "'$started' ended by itself"
}
sums() { sha256sum $work/*.img $others 2>/dev/null; }
gadget_remove() {
	[ -d $configfs ] || return 0
	[ -z "$(cat $configfs/UDC)" ] || gadget_unplug
	rm -f $configfs/configs/c.1/mass_storage.0
	rmdir $configfs/configs/c.1 $configfs/functions/mass_storage.0 $configfs/strings/0x409 $configfs
	modprobe -r usb_f_mass_storage dummy_hcd
	return 0
}

export DM_DISABLE_UDEV=1
dm() {
	dmsetup --noudevsync "$@" || fail "dmsetup $* failed"
}
# dm_table NAME TABLE: puts another table under a device-mapper target, throwing away nothing that waits above it.
dm_table() {
	dm load "$1" --table "$2"
	dm suspend --noflush --nolockfs "$1"
	dm resume "$1"
}

token() {
	run 0 blkassay targets --csv -
	cp $out $work/targets
	token=$(awk -F, -v node="$1" '
		NR == 1 { for (i = 1; i <= NF; i++) { gsub(/"/, "", $i); at[$i] = i } next }
		$at["path"] == node { gsub(/"/, "", $at["token"]); print $at["token"]; exit }' $work/targets)
	[ -n "$token" ] || fail "'targets --csv -' has no token for $1"
}
# field DEVICE NAME: from the list that 'token' left (no field of a disk has commas before "used_by").
field() {
	awk -F, -v node="$1" -v name="$2" '
		NR == 1 { for (i = 1; i <= NF; i++) at[$i] = i; next }
		$1 == node { print $at[name]; exit }' $work/targets
}
column() {
	awk -F, -v name="$1" -v row="${3:-1}" '
		NR == 1 { for (i = 1; i <= NF; i++) if ($i == name) at = i; next }
		NR == row + 1 { print $at; exit }' "$2"
}
reset() { exec /rig/reset; }
. /rig/model.sh
