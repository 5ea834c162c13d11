# Words for the gadget that does what a model file says (tests/gadget). Loaded by lib.sh.
#
#   model_plug [OPTION...] MODEL...   starts it and plugs it in; its node in $gadget. MODEL: a file, or a name in
#                                     /rig/models, one for each logical unit; OPTIONs: those of `bus_gadget run`, each
#                                     before the model it is about
#   model_start ...               the same, without waiting for a drive with a card in it
#   model_node [LUN]              waits until its drive is there with a card in it; node in $gadget
#   model_wake                    lets the faults of a MODEL strike that -s had put to sleep
#   model_tell ORDER...           an order, which must be carried out; its answer in $answer
#   model_remove                  unplugs it and ends it
#   $truth                        its truth log
truth=$results/truth.log
model_pid=

model_file() {
	for place in "$1" "/rig/models/$1" "/rig/models/$1.model"; do
		[ ! -f "$place" ] || { echo "$place"; return; }
	done
	fail "there is no model '$1'"
}
model_start() {
	set -- "$@" "" # the end
	model="" words=""
	while [ -n "$1" ]; do
		case $1 in
		-c) words="$words -c $2" && shift ;;
		-*) words="$words $1" ;;
		*) words="$words $(model_file "$1")" && model=${model:-$(model_file "$1")} ;;
		esac
		shift
	done
	speed=$(bus_gadget check "$model" 2>&1) || fail "$speed"
	modprobe -r dummy_hcd 2>/dev/null
	modprobe dummy_hcd is_super_speed=0 is_high_speed=$([ "$speed" = high ] && echo 1 || echo 0) || fail "no dummy_hcd"
	modprobe libcomposite && modprobe usb_f_fs || fail "no FunctionFS"
	model_serial=$(sed -n 's/^ *serial *= *\([^ #]*\).*/\1/p' "$model")
	# shellcheck disable=SC2086
	bus_gadget run -t $truth $words 2>$work/model.err &
	model_pid=$!
	wait_for 60 test -S /run/bus_gadget || fail "the gadget does not start: $(cat $work/model.err)"
}
model_plug() {
	model_start "$@"
	model_node
}
# The drive of one logical unit. It is opened, because nobody else looks whether a card has come in.
node_of_unit() {
	for block in /sys/block/sd*; do
		[ -e "$block/device" ] || continue
		scsi=$(basename "$(readlink -f "$block/device")")
		[ "${scsi##*:}" = "$2" ] || continue
		up=$(readlink -f "$block/device")
		while [ "$up" != / ] && [ ! -e "$up/serial" ]; do up=$(dirname "$up"); done
		[ "$(cat "$up/serial" 2>/dev/null)" = "$1" ] && : <"/dev/${block##*/}" && [ "$(cat "$block/size")" -gt 0 ] && echo "/dev/${block##*/}"
	done | grep .
}
# A gadget that does not answer everything takes the kernel minutes.
model_node() {
	wait_for 10 node_of_unit "$model_serial" "${1:-0}" || for _ in $(seq 300); do
		node_of_unit "$model_serial" "${1:-0}" >/dev/null 2>&1 && break
		kill -0 $model_pid 2>/dev/null || break
		sleep 10
	done
	node_of_unit "$model_serial" "${1:-0}" >/dev/null || fail "the gadget did not appear: $(cat $work/model.err)"
	gadget=$(node_of_unit "$model_serial" "${1:-0}")
	wait_for 60 test -b "$gadget" || fail "$gadget has no node"
}
# The faults of a gadget that was plugged in with -s strike from here on. As at a drive whose faults never slept, the driver has
# lost one answer to its own REQUEST SENSE by then, for 96 bytes, and asks for 18 of them since (Linux
# drivers/usb/storage/transport.c). What the reset after that brings about is heard right here: at its next opening the kernel
# would look at the drive as at a new one.
model_wake() {
	model_tell faults yes
	bus_gadget ask "$gadget" >/dev/null 2>&1 <<-END
		in 255 12 01 83 00 FF 00
		none 0 00 00 00 00 00 00
		none 0 00 00 00 00 00 00
		none 0 00 00 00 00 00 00
	END
}
model_tell() { answer=$(bus_gadget tell "$@" 2>&1) || fail "'$*': $answer"; }
model_remove() {
	[ -n "$model_pid" ] || return 0
	bus_gadget tell quit >/dev/null 2>&1
	wait "$model_pid"
	model_pid=
	rm -f /run/bus_gadget
	modprobe -r usb_f_fs dummy_hcd 2>/dev/null
	return 0
}
