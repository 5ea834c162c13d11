# Memory does not grow with the target: the same peak for 1 MiB and for a sparse 1 TiB, and at most 32 MiB.
. "$(dirname "$0")/lib.sh"
peak() {
	"$BLKASSAY" "$@" >/dev/null 2>"$err" &
	pid=$!
	most=0
	while kill -0 $pid 2>/dev/null; do
		now=$(sed -n 's/^VmHWM:[^0-9]*\([0-9]*\) kB/\1/p' /proc/$pid/status 2>/dev/null)
		[ -z "$now" ] || most=$now
		sleep 0.02
	done
	wait $pid || fail "$* failed"
}
truncate -s 1M "$tmp/small.img"
truncate -s 1T "$tmp/large.img" || skip "this filesystem takes no sparse file of 1 TiB"
peak sweep "$tmp/small.img" --sizes 512..1Mi --seconds 0.05 --passes 1 --out "$tmp/small.assay"
small=$most
peak sweep "$tmp/large.img" --sizes 512..1Mi --seconds 0.05 --passes 1 --out "$tmp/large.assay"
echo "peak: $small KiB for 1 MiB, $most KiB for 1 TiB"
[ "$most" -gt 0 ] && [ "$most" -le 32768 ] || [ -n "${SANITIZED:-}" ] || fail "peak $most KiB"
[ "$most" -le $((small + 4096)) ] || fail "memory grows with the target: $small KiB, then $most KiB"
