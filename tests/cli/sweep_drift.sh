# A target that grows slower as the run goes on, as one that heats up does: that is said as a drift of its own, and no pass is
# laid at this computer's door for it. A stop of this process while it looks how writes are stored is the computer's.
. "$(dirname "$0")/lib.sh"
[ -z "${SANITIZED:-}" ] || skip "a preloaded library and the sanitizers do not go together"
slow=$(dirname "$BLKASSAY")/tests/slow.so
cd "$tmp" || exit 1
truncate -s 16M card.img
export SLOW_FIXED_US=1000 SLOW_RATE=20000000 SLOW_JITTER=0.02

# 1.6 s of passes and more, at 50 % a second.
run 0 env LD_PRELOAD="$slow" SLOW_DRIFT=0.5 "$BLKASSAY" sweep card.img --order sequential --sizes 4Ki,32Ki --seconds 0.1 --passes 8 \
	--out warm.assay --quiet
run 0 "$BLKASSAY" explain warm.assay --json warm.json
run 0 "$BLKASSAY" explain warm.assay
tells "drifted: requests took"
python3 - warm.json <<'END' || fail "the drift is not what it is"
import json, sys
shares = [t["drift_share"] for t in json.load(open(sys.argv[1]))["tables"]]
sys.exit(not all(s and 0.3 < s for s in shares))
END
lost=$(grep ' pass ' warm.assay | grep -c 'flags=[a-z+-]*host')
[ "$lost" -lt 8 ] || fail "$lost passes are laid at the computer's door"

# Stopped for a second within the 3.3 s that the look takes at least.
LD_PRELOAD=$slow "$BLKASSAY" sweep away.img --create 64Mi --direction write --order sequential --sizes 64Ki --seconds 0.1 --passes 2 \
	--out away.assay --quiet >"$out" 2>"$err" &
pid=$!
await ' plan ' away.assay
written() { sed -n 's/^wchar: //p' /proc/$pid/io; }
before=$(written)
until [ "$(written)" -gt $((before + 1048576)) ]; do
	kill -0 $pid || fail "the sweep ended before it could be stopped"
	sleep 0.02
done
kill -STOP $pid
sleep 1
kill -CONT $pid
wait $pid || fail "the sweep ended in $?"
grep ' storing ' away.assay | grep -q ' host_away=1 ' || fail "the look is not said to have been without its host"
if grep ' pass ' away.assay | grep -qv ' stored_by=none '; then fail "a pass counts as stored by such a look"; fi
run 0 "$BLKASSAY" report away.assay
tells "this computer was stopped, suspended or too busy meanwhile"
exit 0
