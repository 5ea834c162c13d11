# The vocabulary of the end-to-end tests. Source it first: . "$(dirname "$0")/lib.sh"
#
#   requires_root              skips (loudly) where loop devices cannot be made
#   skip REASON                skips
#   cleanup COMMAND            runs at exit, last first
#   run STATUS COMMAND...      runs it, demands this very exit status; output in $out and $err; of a model, no advice for hardware
#   says TEXT / says_not TEXT  stdout or stderr contains / does not contain TEXT (fixed string)
#   tells TEXT                 stdout contains TEXT however it is wrapped: line breaks and blanks count as one blank
#   fits WIDTH FILE            no line of FILE is wider, but one word of a shell that cannot be broken (a path may be of any length)
#   planned RECORD             the passes of a sweep in their order, each once: one that a busy computer lost is made again
#   await TEXT FILE            waits until FILE contains TEXT; fails after 30 seconds
#   loop_device FILE [BYTES]   attaches FILE with logical blocks of BYTES (512); device in $loop
#   attach [OPTION...] FILE    attaches FILE with losetup; device in $device
#   empty_loop FILE            FILE under $loop loses every byte, and $loop its size: what it held is gone
#   opened <|<> FILE [LOCK]    another program has FILE open so, until it is killed ($opener) or the test ends; LOCK: its first command
#   let_go DEVICE              detaches what one of these attached; else done at exit
#   token_of DEVICE            prints its consent token, as `targets --csv -` has it
#   image_token FILE           prints that of an image: base name and the CRC-32 of its real path, as gzip has it
#   $unique                    a word of this test run alone, for image names (they become tokens)
#   $tmp                       a folder on a real disk filesystem, removed at exit
set -u
here=$(cd "$(dirname "$0")" && pwd)
: "${BLKASSAY:=$here/../../build/blkassay}"
make_record=$(dirname "$BLKASSAY")/bench/make_record # records of invented sweeps: see tests/bench/make_record.c
mkdir -p "$here/../tmp"
here=$(cd "$here" && pwd)
tmp=$(mktemp -d "$(dirname "$here")/tmp/t.XXXXXX")
cleanups="rm -rf '$tmp'"
trap 'eval "$cleanups"' EXIT
trap 'exit 1' INT TERM
out=$tmp/out err=$tmp/err
unique=$(basename "$tmp")

cleanup() { cleanups="$*; $cleanups"; }
skip() { echo "$*"; exit 77; }
fail() { echo "FAILED: $*"; echo "--- stdout"; cat "$out"; echo "--- stderr"; cat "$err"; exit 1; }
requires_root() {
	[ "$(id -u)" = 0 ] || skip "needs root for loop devices"
	[ -e /dev/loop-control ] || skip "needs loop devices (/dev/loop-control is missing)"
}
run() {
	wanted=$1
	shift
	status=0
	"$@" >"$out" 2>"$err" </dev/null || status=$?
	[ "$status" = "$wanted" ] || fail "'$*' exited with $status, not $wanted"
	case " $*" in
	*" model:"*) ! grep -nE 'dmesg|[Cc]heck cable|[Pp]lug it in|put the right one in' "$out" "$err" ||
		fail "a model has no kernel log, no plug and no slot: '$*'" ;;
	esac
}
says() { grep -qF -e "$1" "$out" "$err" || fail "nothing says '$1'"; }
says_not() { ! grep -qF -e "$1" "$out" "$err" || fail "something says '$1'"; }
tells() { tr -s ' \n' '  ' <"$out" | grep -qF -e "$1" || fail "stdout does not tell '$1'"; }
fits() {
	python3 -c 'import shlex, sys
def words(line):
    try:
        return len(shlex.split(line.rstrip(" \\\n")))
    except ValueError:
        return 2
wide = [l for l in open(sys.argv[2], encoding="utf-8") if len(l.rstrip("\n")) > int(sys.argv[1]) and words(l) > 1]
sys.exit("wider than " + sys.argv[1] + ": " + wide[0] if wide else 0)' "$1" "$2" || fail "too wide for $1 columns"
}
planned() { grep ' pass ' "$1" | sed 's/.* pass direction=//; s/ at_seconds=.*//' | uniq; }
await() {
	tries=0
	until grep -qF -e "$1" "$2" 2>/dev/null; do
		tries=$((tries + 1))
		[ $tries -lt 1500 ] || fail "'$2' does not come to contain '$1'"
		sleep 0.02
	done
}
attached=
attach() {
	device=$(losetup --find --show "$@") || fail "losetup failed for $*"
	attached="$attached $device "
	cleanup "let_go $device"
}
# Once only: the next to ask for a loop device may be given this one at once.
let_go() {
	case $attached in *" $1 "*) ;; *) return 0 ;; esac
	attached=$(echo "$attached" | sed "s| $1 | |")
	losetup -d "$1"
}
loop_device() {
	attach --sector-size "${2:-512}" "$1"
	loop=$device
}
# A write on its way may make the file longer again before the device learns of it: until it has.
empty_loop() {
	until [ "$(cat "/sys/block/$(basename "$loop")/size")" = 0 ]; do
		truncate -s 0 "$1"
		losetup -c "$loop"
	done
}
image_token() {
	real=$(readlink -f "$1")
	printf '%s-' "$(basename "$real" | sed -E 's/[^A-Za-z0-9._]+/-/g; s/^-//; s/-$//')"
	printf '%s' "$real" | gzip -c | tail -c 8 | od -An -tx4 -N4 --endian=little | tr -d ' '
}
token_of() {
	"$BLKASSAY" targets --csv - 2>/dev/null | awk -F, -v d="$1" '$1 == d { print $3 }'
}
opened() {
	rm -f "$tmp/ready"
	sh -c "exec 9$1'$2'; ${3:-:}; echo >'$tmp/ready'; exec sleep 1000" &
	opener=$!
	cleanup "kill $opener 2>/dev/null"
	tries=0
	until [ -e "$tmp/ready" ]; do
		[ $((tries += 1)) -lt 1500 ] || fail "cannot open '$2'"
		sleep 0.02
	done
}
