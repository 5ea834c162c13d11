# Faster, slower, not shown to differ, too few; the gate's exit status; the CSV.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
run 0 "$make_record" base.assay 6 8 500 1.00e6 0.01 1 read label=one
run 0 "$make_record" same.assay 6 8 500 1.00e6 0.01 2 read label=two
run 0 "$make_record" slow.assay 6 8 600 0.80e6 0.01 3 read label=three
run 0 "$BLKASSAY" compare base.assay --against same.assay
tells "is not shown to differ at any of 8 points"
tells "One run a side compares these two runs, not two builds"
says_not "If the builds were equal"
fits 80 "$out"

# About 17 % slower at 512 B, 20 % at 64 KiB. Without a gate a verdict is not a failure.
run 0 "$BLKASSAY" compare base.assay --against slow.assay
tells "The new run is slower at 8 of 8 points"
# Nobody asked how much it may lose, so nothing bounds that.
says_not "loss below"
run 0 "$BLKASSAY" compare base.assay --against slow.assay --json slow.json
! grep -q '"loss_bound_share":[^n]' slow.json || fail "a bound of the loss without a gate"
run 0 "$BLKASSAY" compare slow.assay --against base.assay
tells "The new run is faster at 8 of 8 points"

# Three answers: ignorance passes no gate.
run 1 "$BLKASSAY" compare base.assay --against slow.assay --allow-slower 5
tells "Gate failed for these two runs: 8 of 8 points are shown to be more than 5 % slower"
says "loss below"
run 0 "$BLKASSAY" compare base.assay --against slow.assay --allow-slower 30
tells "Gate passed"
run 4 "$BLKASSAY" compare base.assay --against same.assay --allow-slower 0.1
tells "Gate undecided"

# Three passes a side: no verdict, and no answer of a gate.
run 0 "$make_record" few.assay 3 8 500 1.00e6 0.01 4 read
run 0 "$BLKASSAY" compare base.assay --against few.assay
tells "no point has enough passes for a verdict"
run 4 "$BLKASSAY" compare base.assay --against few.assay --allow-slower 5
tells "Gate undecided"
tells "passes a side an equally fast build would pass"

# Four runs a side, each plugged in anew 10 % off the mark: passes within each agree to 0.1 %, and would call it a
# difference; the runs show it is noise.
i=0
for rate in 1.00e6 0.90e6 1.10e6 0.97e6; do
	i=$((i + 1))
	run 0 "$make_record" b$i.assay 5 8 1 $rate 0.001 1$i read
done
for rate in 1.10e6 0.99e6 1.17e6 1.06e6; do
	i=$((i + 1))
	run 0 "$make_record" n$i.assay 5 8 1 $rate 0.001 2$i read
done
run 0 "$BLKASSAY" compare b1.assay --against n5.assay
tells "The new run is faster at 8 of 8 points"
run 0 "$BLKASSAY" compare b1.assay b2.assay b3.assay b4.assay --against n5.assay n6.assay n7.assay n8.assay
tells "The new build is not shown to differ at any of 8 points"
tells "If the builds were equal"
tells "160 passes in 4 runs"
run 0 "$BLKASSAY" compare b1.assay b2.assay b3.assay b4.assay --against n5.assay n6.assay n7.assay n8.assay --csv -
awk -F, 'NR > 1 && !($5 == 4 && $6 == 4) { exit 1 }' "$out" || fail "replicates are not the four runs"

# CSV: 27 columns, a row a point, as its page lists them.
run 0 "$BLKASSAY" compare base.assay --against slow.assay --csv c.csv
[ "$(wc -l <c.csv)" = 9 ] || fail "not a row a point"
awk -F, 'NF != 27 { exit 1 }' c.csv || fail "a row with other than 27 columns"
head -n 1 c.csv | tr -d '\r' | tr ',' '\n' >columns
sed -n 's/^\.It Cm \([a-z0-9_]*\)$/\1/p' "$here/../../man/blkassay-comparison.5" >listed
cmp columns listed || fail "blkassay-comparison(5) lists other columns than the CSV has"
# t = 0.6 ms + 65536/0.8e6 against 0.5 ms + 65536/1e6: 0.8031.
awk -F, '$4 == 65536 { exit !($9 > 0.79 && $9 < 0.82 && $12 == "slower") }' c.csv || fail "the ratio at 64 KiB is wrong"
run 0 "$BLKASSAY" compare base.assay --against slow.assay --csv -
[ "$(head -c 10 "$out")" = "direction," ] || fail "CSV on stdout is not alone"
