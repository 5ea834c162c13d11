# A model that cannot be used is refused with file, line, what is wrong and what was expected; nothing is left behind.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
model() { printf 'gadget-model 1\n%s\n' "$1" >m.model; }

run 2 "$BLKASSAY" sweep model:
says "names no file"
run 2 "$BLKASSAY" sweep model:absent.model
says "cannot open the gadget model 'absent.model'"
run 2 "$BLKASSAY" sweep model:/dev/null
says "expected 'gadget-model 1' as the first line"
run 3 "$BLKASSAY" sweep "model:$tmp"
says "cannot read the gadget model"
head -c 100000 /dev/zero >m.model
run 2 "$BLKASSAY" sweep model:m.model
says "too large for a gadget model"
model 'link:
    rate = fast'
run 2 "$BLKASSAY" sweep model:m.model
says "m.model:3: link: 'rate' is 'fast'; expected a rate such as 870 kB/s"
model 'device:
    name = x'
run 2 "$BLKASSAY" sweep model:m.model
says "m.model: device: expected 'capacity', which is missing"
ls ./*.assay 2>/dev/null && fail "a refused sweep left a record"

# No room for what is written: said, not lost.
cp "$here/../../scripts/models/buoy-a.model" .
run 3 env TMPDIR="$tmp/absent" "$BLKASSAY" sweep model:buoy-a.model --direction write --erase buoy-a --out r.assay
says "cannot make a temporary file in '$tmp/absent'"
# Reading needs none.
run 0 env TMPDIR="$tmp/absent" "$BLKASSAY" sweep model:buoy-a.model --sizes 4Ki --seconds 0.1 --passes 1 --out r.assay
exit 0
