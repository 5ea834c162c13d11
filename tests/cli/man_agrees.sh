#!/bin/sh
# The man page says what help says, about every command and option; pages are clean and say nothing that is not there.
. "$(dirname "$0")/lib.sh"
page=$here/../../man/blkassay.1
command -v mandoc >/dev/null || skip "needs mandoc"
for made in "$page" "$here/../../man/blkassay-json.5"; do
	"$here/../../scripts/update-man" "$BLKASSAY" "$made" >"$tmp/made" || fail "update-man failed"
	diff -u "$made" "$tmp/made" >"$out" 2>"$err" || fail "$(basename "$made") is behind the tables; run 'make man'"
done

for name in record journal; do
	page5=$here/../../man/blkassay-$name.5
	"$here/../../scripts/update-record-pages" "$(dirname "$BLKASSAY")/bench/describe_record" "$page5" >"$tmp/page.5" ||
		fail "update-record-pages failed"
	diff -u "$page5" "$tmp/page.5" >"$out" 2>"$err" || fail "man/blkassay-$name.5 is behind the tables; run 'make man'"
done

# Not by way of the script that makes them: names found in the rendered page.
mandoc -T ascii -O width=78 "$page" | col -b >"$tmp/text"
"$BLKASSAY" help | awk '/^  [a-z]/ { print $1 }' >"$tmp/commands"
[ "$(wc -l <"$tmp/commands")" -ge 5 ] || fail "help names hardly any command"
while read -r command; do
	awk -v c="$command" '$0 ~ "^     " c "( |$)" { on = 1; next } on && /^     [a-z]/ { exit } on' "$tmp/text" >"$tmp/section"
	"$BLKASSAY" help "$command" | sed -n 's/^  \(--[a-z-]*\).*/\1/p' | sort >"$tmp/helped"
	grep -o '\--[a-z][a-z-]*' "$tmp/section" | sort -u >"$tmp/manned"
	while read -r option; do
		[ "$option" = --help ] || grep -qxF -e "$option" "$tmp/manned" || fail "the page does not give $command the option $option"
	done <"$tmp/helped"
	sed -n '/Options:/,$p' "$tmp/section" | grep -o '\--[a-z][a-z-]*' | while read -r option; do
		grep -qxF -e "$option" "$tmp/helped" || fail "the page gives $command an option $option that it does not have"
	done || exit 1
done <"$tmp/commands"

# Classes of damage, wherever they are listed by hand.
"$BLKASSAY" help --keys | awk -F'\t' '$1 == "word" && $2 == "verify" { print $4 }' | tr - ' ' >"$tmp/classes"
[ -s "$tmp/classes" ] || fail "help --keys lists no class of damage"
mandoc -T ascii -O width=78 "$here/../../man/blkassay-stamp.5" | col -bx >"$tmp/stamp"
while read -r class; do
	grep -q "^     $class\( \|$\)" "$tmp/stamp" || fail "blkassay-stamp(5) does not say what is judged '$class'"
	"$BLKASSAY" help verify | tr -s ' \n' '  ' | grep -q "[:,r] $class[ ,.]" || fail "help verify does not name '$class'"
done <"$tmp/classes"
# Flags of a pass.
"$BLKASSAY" help --keys | awk -F'\t' '$1 == "word" && $2 == "sweep" && $3 == "flags" { print $4 }' >"$tmp/flags"
[ -s "$tmp/flags" ] || fail "help --keys lists no flag of a pass"
while read -r flag; do
	grep -qxF ".It Cm $flag" "$here/../../man/blkassay-record.5" || fail "blkassay-record(5) does not list the flag $flag"
done <"$tmp/flags"

# Promises of an audit.
"$BLKASSAY" help --keys | awk -F'\t' '$1 == "word" && $2 == "audit" && $3 == "name" { print $4 }' >"$tmp/promises"
[ "$(wc -l <"$tmp/promises")" -gt 20 ] || fail "help --keys lists hardly any promise"
sed -n 's/^\.It \([a-z].*\)/\1/p' "$here/../../man/blkassay-audit.7" | tr -d ' ' | tr ',' '\n' >"$tmp/audited"
while read -r promise; do
	grep -qxF "$promise" "$tmp/audited" || fail "blkassay-audit(7) does not list the promise $promise"
done <"$tmp/promises"

for p in "$here"/../../man/*.[1-9]; do
	run 0 mandoc -T lint -W warning "$p"
done
# Rendered: every quotation ends before the next one begins, and no macro stands among the words.
for p in "$here"/../../man/*.[1-9]; do
	mandoc -T utf8 -O width=78 "$p" | col -b >"$tmp/rendered"
	python3 - "$tmp/rendered" <<'END' || fail "$(basename "$p"): see above"
import re, sys
text = open(sys.argv[1], encoding="utf-8").read()
for wrong in re.findall(r"\u2018[^\u2019]*\u2018[^\n]*|\u201c[^\u201d]*\u201c[^\n]*|\b(?:Ql|Pq|Fl|Ar) [a-z][^\n]*", text):
    sys.exit(f"man page: '{wrong[:80]}'")
END
done
grep -q '^\.Sh EXAMPLES' "$page" || fail "no examples"
for command in targets sweep verify audit cut recheck report explain compare observe restore; do
	sed -n '/^\.Sh EXAMPLES/,/^\.Sh SEE/p' "$page" | grep -q "blkassay $command" || fail "no example of $command"
done
# Columns of the CSV, in order, as the format's page lists them.
run 0 "$BLKASSAY" sweep model:"$here/../../scripts/models/buoy-b.model" --sizes 4Ki --seconds 0.1 --passes 1 --out "$tmp/a.assay"
# The example of a record begins as a record does, its version and checksum among it.
head -n 1 "$tmp/a.assay" | grep -qxF -f - "$here/../../man/blkassay-record.5" || fail "blkassay-record(5) shows another first line"
run 0 "$BLKASSAY" report "$tmp/a.assay" --csv -
head -n 1 "$out" | tr -d '\r' | tr ',' '\n' >"$tmp/columns"
sed -n 's/^\.It Cm \([a-z0-9_]*\)$/\1/p' "$here/../../man/blkassay-csv.5" >"$tmp/listed"
cmp -s "$tmp/columns" "$tmp/listed" || fail "blkassay-csv(5) lists other columns than the CSV has"
