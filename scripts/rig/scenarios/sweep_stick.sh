# Rates on a bus that really schedules 1 ms frames: below the ceiling, like those of a bare loop beside them, the curve's
# fixed cost and streaming rate what frames allow, link recognised, and requests above the kernel's limit split, seen in
# the device's own count. A busy host makes all rates lower, so that no rate has a floor of its own: it is held against a
# bare loop run in turn, and against the rates of other sizes in the same passes.
stick
ceiling=1216000 # B/s. USB 2.0 table 5-9: 19 bulk packets of 64 bytes in a frame, 1000 frames in a second
slack=1.03 # a bus that was late makes up for at most 8 frames (scripts/rig/run) in a pass of 400

run 0 blkassay sweep "$stick" --sizes 512,4Ki,64Ki,256Ki --order sequential --seconds 0.4 --passes 5 --seed 7 \
	--label "stick at full speed" --out stick.assay
run 0 blkassay report stick.assay --csv stick.csv

# Median of a column over the passes of one request size: of all files given.
median() { # COLUMN SIZE FILE...
	wanted_column=$1 wanted_size=$2
	shift 2
	awk -F, -v size="$wanted_size" -v name="$wanted_column" '
		FNR == 1 { for (i = 1; i <= NF; i++) at[$i] = i; next }
		$at["request_bytes"] == size { print $at[name] }' "$@" | middle
}
middle() { sort -n | awk '{ v[NR] = $1 } END { print v[int((NR + 1) / 2)] }'; }

for size in 512 4096 65536 262144; do
	rate=$(median acknowledged_bytes_per_second $size stick.csv)
	note "$size B: $rate B/s"
	between "rate at $size" "$rate" 1 "$(awk "BEGIN { print $ceiling * $slack }")"
	eval "rate_$size=$rate"
done
# Command, data and status take a frame each at least (common practice, no source): no more than 512 B in 2 ms.
between "rate at 512" "$rate_512" 1 256000
# The fixed cost is most of the time of a small request: eight times the size is nearly eight times the rate; never as
# slow as one sector after the other.
between "rate at 4096 against 512" "$(awk "BEGIN { print $rate_4096 / $rate_512 }")" 1.5 10
between "rate at 65536 against 512" "$(awk "BEGIN { print $rate_65536 / $rate_512 }")" 4 160

# The curve, as explain draws it: milliseconds a request, and about the ceiling beyond that.
run 0 blkassay explain stick.assay
# of, fixed cost, 95 % range, streaming rate, ...
grep '^sequential reads  *[0-9.]* [mu]s ' $out >fitted || fail "no fitted line"
note "$(cat fitted)"
fixed=$(awk '{ print $3 * ($4 == "us" ? 0.001 : 1) }' fitted)
streaming=$(awk '{ print $6 * ($7 == "MB/s" ? 1e6 : $7 == "kB/s" ? 1e3 : 0) }' fitted)
between "fixed cost of a request, in ms" "$fixed" 0.5 "$(awk "BEGIN { print 512 / $rate_512 * 1000 * 3 }")"
between "streaming rate" "$streaming" "$(awk "BEGIN { print $rate_65536 * 0.6 }")" "$(awk "BEGIN { print $ceiling * 1.5 }")"
says "full speed, USB 2.0 table 5-9"

# Beside a bare loop, in turn: seven pairs for each size, the middle ratio. On a very busy host pairs are off by up to five
# times either way, so while the middle is off there are more of them; a tool that is slow itself stays off in all of 31.
fair() { [ -e "ratios.$1" ] && awk -v r="$(middle <"ratios.$1")" 'BEGIN { exit !(r >= 0.7 && r <= 1.4) }'; }
round=1
while [ $round -le 7 ] || { [ $round -le 31 ] && { [ $((round % 2)) = 1 ] || ! fair 512 || ! fair 65536; }; }; do
	for size in 512 65536; do
		run 0 blkassay sweep "$stick" --sizes "$size" --order sequential --seconds 0.5 --passes 1 --quiet --out pair.assay
		loop=$(bare_reads "$stick" "$size" 0.5) || fail "the bare loop cannot read"
		run 0 blkassay report pair.assay --csv pair.csv
		awk "BEGIN { print $(median acknowledged_bytes_per_second "$size" pair.csv) / $loop }" >>"ratios.$size"
		rm pair.assay pair.csv
	done
	round=$((round + 1))
done
for size in 512 65536; do
	note "$size B, sweep over bare loop: $(middle <ratios.$size) in the middle of $(sort -n ratios.$size | tr '\n' ' ')"
	between "rate of sweep over that of a bare loop, $size B" "$(middle <ratios.$size)" 0.7 1.4
done

limit=$(($(cat /sys/block/${stick#/dev/}/queue/max_sectors_kb) * 1024))
is "the kernel's request limit" "$limit" 122880
requests=$(median requests 262144 stick.csv)
# 256 KiB in pieces of at most 120 KiB: three of them.
is "device requests for $requests requests of 256 KiB" "$(median device_requests 262144 stick.csv)" $((requests * 3))
is "device requests of 4 KiB" "$(median device_requests 4096 stick.csv)" "$(median requests 4096 stick.csv)"
grep -q ',[^,]*split' stick.csv || fail "no pass is flagged as split"
grep -q "link_bits_per_second=12000000" stick.assay || fail "the record does not know the link: $(grep ' target ' stick.assay)"
