# What watching costs: sweeps with and without phases in turn, 20 pairs a size; the median of their ratios is in the results.
# By hand: it is about speed.
# Time limit: 1500 s
modprobe usbmon || fail "no usbmon"
fast_stick
rate() { # NAME OPTION
	rm -f cost.assay
	run 0 blkassay sweep "$stick" --order sequential --direction read --sizes "$1" --seconds 0.7 --passes 1 --seed 1 "$2" --out cost.assay --csv cost.csv --quiet
	column acknowledged_bytes_per_second cost.csv
}
for size in 512 4Ki 64Ki 120Ki; do
	for pair in $(seq 20); do
		if [ $((pair % 2)) = 0 ]; then with=$(rate $size --phases) without=$(rate $size --no-phases)
		else without=$(rate $size --no-phases) with=$(rate $size --phases); fi
		echo "$with $without" | awk '{ print $1 / $2 }'
	done | sort -n >ratios
	note "$size: $(awk '{ v[NR] = $1 } END { printf "median ratio %.4f (%.3f to %.3f)", (v[10] + v[11]) / 2, v[5], v[16] }' ratios)"
done
