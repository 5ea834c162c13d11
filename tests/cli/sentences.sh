# What the tool can print has no slip that a list of its strings shows: a word twice in a row, one thing counted as many,
# blanks where none belong, or a wording that was given up for a plainer one. scripts/sentences lists them to be read.
. "$(dirname "$0")/lib.sh"
sentences=$here/../../scripts/sentences
cat >"$tmp/slips.py" <<'END_OF_PROGRAM'
import re, sys
given_up = """packed tight|hangs on it|deserve the work|checks nothing|half within|Not alike in|has it as|sign of life|\
broken in all|Look:|came before that is whole|rate to rest on|at its end$|capacity is false|as hoped|stands for several|\
asked after|ask after|out and in|can not|memory ran out"""
things = "write|flush|pass|request|point|promise|cut|range|place|error|command|stretch|line|run|block|size|device|target"
always_many = "modelled cuts|in %zu runs|small writes|damaged stretches|these %u flushes|not one of the|bytes in blocks|%cll %u|at byte %u in"
slips = [
    ("a word twice", r"\b([A-Za-z]{2,}) \1\b"),
    ("a blank before a stop", r"\w [.,;:](?:\s|$)"),
    ("two blanks", r"[a-z,;:]  +[a-z]"),
    ("given up", given_up),
    ("left out, not left away", r"leave (?:--|%)[-%\w]* (?:away|out)\b"),
    ("one counted as many", r"(?<!of )(?<!the )%(?:ll|z|l)?u (?:[a-z]+ ){0,1}(?:" + things + r")(?:s|es)\b(?! in flight)"),
]
found = 0
for entry in sys.stdin:
    place, text = entry.rstrip("\n").split("\t", 1)
    for what, pattern in slips:
        if what == "one counted as many" and re.search(always_many, text):
            continue
        if re.search(pattern, text.replace("\\n", "\n")):
            print(f"{place}: {what}: {text}")
            found += 1
sys.exit(1 if found else 0)
END_OF_PROGRAM
run 0 "$sentences"
[ "$(wc -l <"$out")" -gt 2000 ] || fail "a list of $(wc -l <"$out") strings cannot be whole"
cp "$out" "$tmp/list"
python3 "$tmp/slips.py" <"$tmp/list" >"$out" 2>"$err" || fail "slips in what is printed"

# It finds them: each line below has one, the last has none.
cat >"$tmp/bad.c" <<'END_OF_FILE'
const char *a = "the the target " "is gone";
const char *b = "it answers , and goes";
const char *c = "as long as  it takes";
const char *d = "the capacity is false here";
const char *e = "leave --csv away, please";
const char *f = "%" PRIu64 " requests came back";
/* "the the" in a comment */ const char *g = "%zu request%s came \
back";
END_OF_FILE
run 0 "$sentences" "$tmp/bad.c"
cp "$out" "$tmp/list"
python3 "$tmp/slips.py" <"$tmp/list" >"$out" && fail "no slip is found"
[ "$(wc -l <"$out")" = 6 ] || fail "six slips are there, not $(wc -l <"$out")"
