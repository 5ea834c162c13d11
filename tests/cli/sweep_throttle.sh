# A loop device under a kernel rate limit is measured within 2 % of that limit, at every request size.
. "$(dirname "$0")/lib.sh"
requires_root
[ -z "${SANITIZED:-}" ] || skip "a matter of timing: measured without the sanitizers"
limit=8000000
for controller in /sys/fs/cgroup/blkio /sys/fs/cgroup; do
	[ -e "$controller/blkio.throttle.read_bps_device" ] && version=1 && break
	grep -qsw io "$controller/cgroup.controllers" && version=2 && break
	version=
done
[ -n "$version" ] || skip "needs the cgroup io or blkio controller to limit a loop device"
group=$controller/blkassay-test-$$
mkdir "$group" 2>/dev/null || skip "cannot make a cgroup in $controller"
cleanup "rmdir '$group' 2>/dev/null"
truncate -s 64M "$tmp/card.img"
loop_device "$tmp/card.img"
number=$(cat "/sys/block/$(basename "$loop")/dev")
if [ "$version" = 1 ]; then
	echo "$number $limit" >"$group/blkio.throttle.read_bps_device" || skip "cannot limit a loop device"
else
	echo +io >"$controller/cgroup.subtree_control" 2>/dev/null
	[ -e "$group/io.max" ] || skip "cannot limit a loop device: no io.max"
	echo "$number rbps=$limit" >"$group/io.max" || skip "cannot limit a loop device"
fi
limited() { sh -c 'echo $$ >"$1/cgroup.procs"; shift; exec "$@"' sh "$group" "$@"; }

# The control: what a plain copy gets under the same limit, in thousandths of it. On a busy machine the kernel's limiter
# comes late with its slices and gives less; then there is nothing to compare with.
control() {
	before=$(date +%s%N)
	limited dd if="$loop" of=/dev/null bs=64k count=610 iflag=direct 2>/dev/null || fail "dd under the limit failed"
	after=$(date +%s%N)
	echo $((610 * 65536 * 1000 / ((after - before) / 1000) * 1000 / (limit / 1000)))
}

# The limiter hands out slices of a tenth of a second, so a pass must be long against that.
measure() {
	rm -f "$tmp/limited.assay"
	run 0 limited "$BLKASSAY" sweep "$loop" --order sequential --sizes 4Ki,64Ki,1Mi --seconds 6 --passes 1 \
		--out "$tmp/limited.assay"
	run 0 "$BLKASSAY" report "$tmp/limited.assay" --csv "$tmp/limited.csv"
	tr -d '\r' <"$tmp/limited.csv" | awk -F, -v limit=$limit 'NR > 1 {
		off = $14 / limit - 1; if (off < 0) off = -off
		printf "%s bytes: %.0f B/s, off by %.2f %%\n", $6, $14, off * 100
		if (off > 0.02) bad = 1; n++ } END { exit bad || n != 3 }'
}

for attempt in 1 2 3; do
	first=$(control)
	measure && exit 0
	second=$(control)
	echo "attempt $attempt: a plain copy got $first and $second thousandths of the limit"
	[ "$first" -ge 990 ] && [ "$second" -ge 990 ] && fail "not within 2 % of $limit B/s, and a plain copy is"
done
skip "the kernel's own limiter is off here: a plain copy got $first and $second thousandths of the limit"
