"""Holds the four views of a record against each other: text, page, CSV and JSON say the same findings and rows, in order.

    same_views.py BLKASSAY KEYS TEXT_TABLES COMMAND...

KEYS is the file with what `blkassay help --keys` lists; TEXT_TABLES how many tables the text shows, or "blocks" where its rows are
blocks of lines. COMMAND shows the results
(such as `report RECORD`) and takes --page, --csv and --json; a dash for --csv is tried only where KEYS says that there is a CSV.
JSON is read by Python's own reader, CSV by its csv module, the page by its HTML parser; shown values are read back into numbers,
so that what a view rounds must still be what the others have.
"""
import csv, fcntl, html.parser, io, json, os, pty, re, struct, subprocess, sys, termios

failures = []


def fail(words):
    failures.append(words)


# ---- the four views ----

def run_wide(command):
    """Standard output on a terminal of 400 columns, so that no table is cut in two; without colour."""
    leader, follower = pty.openpty()
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", 50, 400, 0, 0))
    child = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=follower, env={**os.environ, "NO_COLOR": "1"})
    os.close(follower)
    said = b""
    while True:
        try:
            some = os.read(leader, 65536)
        except OSError:
            break
        if not some:
            break
        said += some
    child.wait()
    text = said.decode("utf-8", "replace").replace("\r\n", "\n")
    # Bars beside the rates are text's own: they show no figure that is not in the row.
    return re.sub(r"(?m)  [\u2501\u2578?=]+$", "", text)


def run_plain(command):
    return subprocess.run(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, check=False).stdout


def no_twins(pairs):
    keys = [key for key, _ in pairs]
    if len(set(keys)) != len(keys):
        fail(f"JSON: a key stands twice in one object: {keys}")
    return dict(pairs)


def no_constants(word):
    fail(f"JSON: {word} is no number")


class Page(html.parser.HTMLParser):
    """The verdict, the first list of findings, and all tables."""

    def __init__(self):
        super().__init__()
        self.findings, self.tables, self.lists = [], [], 0
        self.blocks = []  # rows as blocks: heading, names and values, in one list of words
        self.into = self.mark = None
        self.in_says = False

    def handle_starttag(self, tag, attributes):
        kind = dict(attributes).get("class", "") or ""
        if tag == "p" and kind.startswith("verdict"):
            self.into, self.mark = "", "look" in kind
        elif tag == "ul" and kind == "says":
            self.lists += 1
            self.in_says = True
        elif tag == "h2":
            self.blocks.append(None)
            self.lists += 1 if self.lists or self.findings else 0
        elif tag == "li" and self.in_says and self.lists == 1:
            self.into, self.mark = "", kind == "look"
        elif tag == "table":
            self.tables.append(([], []))
        elif tag == "tr" and self.tables:
            self.tables[-1][1].append([])
        elif tag in ("th", "td", "h3"):
            self.into = ""
        elif tag == "pre" and self.into is not None:
            self.into += " "
        elif tag in ("dt", "dd") and self.blocks:
            self.into = ""

    def handle_data(self, data):
        if self.into is not None:
            self.into += data

    def handle_endtag(self, tag):
        if tag == "ul":
            self.in_says = False
        if self.into is None or tag not in ("p", "li", "th", "td", "h3", "dt", "dd"):
            return
        if tag == "h3":
            self.blocks.append([self.into])
        elif tag in ("dt", "dd"):
            if self.blocks[-1]:
                self.blocks[-1].append(self.into)
        elif tag == "th" and not self.tables[-1][1][1:]:
            self.tables[-1][0].append(self.into)
        elif tag in ("th", "td"):
            self.tables[-1][1][-1].append(self.into)
        else:
            self.findings.append((self.into.removeprefix("Caution:").strip() if self.mark else self.into, self.mark))
        self.into = None


# ---- values ----

UNITS = {
    "B": 1, "KiB": 2**10, "MiB": 2**20, "GiB": 2**30, "TiB": 2**40, "kB": 1e3, "MB": 1e6, "GB": 1e9, "TB": 1e12, "PB": 1e15,
    "us": 1e-6, "ms": 1e-3, "s": 1, "min": 60, "h": 3600, "%": 0.01, "": 1,
}


def read_back(cell):
    """A shown value as (number, how far it may be off), or None for what is no number."""
    total, off = 0.0, 0.0
    if not re.fullmatch(r"(-?[0-9]+(\.[0-9]+)?( ?[a-zA-Z%/]+)?)( [0-9]+ [a-z]+)?", cell):
        return None
    for number, unit in re.findall(r"(-?[0-9]+(?:\.[0-9]+)?) ?([a-zA-Z%/]*)", cell):
        scale = UNITS.get(unit.removesuffix("/s"))
        if scale is None:
            return None
        decimals = len(number.partition(".")[2])
        total += float(number) * scale
        off = 0.500001 * 10**-decimals * scale
    return total, off


def shows(cell, value):
    """Whether people's form of a value may stand for that of programs."""
    if value is None or cell == "-":
        return value is None and cell == "-"
    if isinstance(value, bool):
        return cell == ("yes" if value else "no")
    if isinstance(value, list):
        return cell == (", ".join(value) or "-")
    if isinstance(value, str):
        return cell in (value, value.replace("-", " "))
    read = read_back(cell)
    return read is not None and abs(read[0] - value) <= max(read[1], 1e-12)


# ---- checks ----

def flat(words):
    return " ".join(words.split())


def check_findings(view, text, page, known):
    sentences = [(" ".join([f["sentence"], f.get("command") or ""]).strip(), f["kind"] == "caution") for f in view["findings"]]
    # What goes alike in both orders has one sentence and the figures of each: screens show it once.
    sentences = list(dict.fromkeys(sentences))
    if view["verdict"] != view["findings"][0]["code"] or known["codes"].get(view["verdict"], ("",))[0] != "verdict":
        fail(f"JSON: {view['verdict']} is no verdict, or not the first finding")
    if page.findings != sentences:
        fail(f"page and JSON differ in their findings:\n{page.findings}\n{sentences}")
    # The text: the verdict, a blank line, then signs and sentences up to the next one.
    paragraphs = text.split("\n\n")
    said = [(flat(paragraphs[0]).removeprefix("! "), paragraphs[0].startswith("! "))]
    if len(sentences) > 1:
        items = re.split(r"^  ([+!]) ", paragraphs[1], flags=re.MULTILINE)
        said += [(flat(items[i + 1]), items[i] == "!") for i in range(1, len(items), 2)]
    if said != [(flat(s), mark) for s, mark in sentences]:
        fail(f"text and JSON differ in their findings:\n{said}\n{sentences}")
    for f in view["findings"]:
        kind, figures = known["codes"].get(f["code"], (None, None))
        if kind is None:
            fail(f"the code {f['code']} is not listed")
            continue
        if kind != "verdict" and kind != f["kind"]:
            fail(f"{f['code']} is a {f['kind']}, listed as {kind}")
        if list(f)[3:] != figures:
            fail(f"{f['code']} has the figures {list(f)[3:]}, listed are {figures}")


def check_keys(view, known):
    frame = ["kind", "run" if "run" in view else "runs", "verdict", "findings"]
    for key, table in known["tables"].items():
        frame += list(table["keys"]) if table["form"] == "bare" else [key]
    if list(view) != frame:
        fail(f"JSON: keys are {list(view)}, listed are {frame}")
    for key, table in [*known["tables"].items(), (frame[1], known["run"])]:
        if table["form"] == "bare":
            continue
        if isinstance(view[key], list) != (table["form"] == "array" or key == "runs"):
            fail(f"JSON: {key} is not the object or array that it should be")
        for row in rows_of(view, key, table):
            if list(row) != list(table["keys"]):
                fail(f"JSON: {key} has the keys {list(row)}, listed are {list(table['keys'])}")
                break


def rows_of(view, key, table):
    """Rows as flat objects: what is an object in a row has keys with a dot."""
    if table["form"] == "bare":
        return [view]
    rows = view[key] if isinstance(view[key], list) else [view[key]] if view[key] else []
    return [spread(row, table) for row in rows]


def spread(row, table):
    out = {}
    for key, value in row.items():
        parts = [k for k in table["keys"] if k.startswith(key + ".")]
        if value is None and parts:
            out.update(dict.fromkeys(parts))
        elif isinstance(value, dict):
            out.update({f"{key}.{k}": v for k, v in value.items()})
        else:
            out[key] = value
    return out


def table_of(headings, known):
    """Which of the JSON's tables a page's table shows: that with most of its headings."""
    best, most = None, 1
    for key, table in known["tables"].items():
        shown = [h for h in table["keys"].values() if h != "-"]
        same = len([h for h in headings if h in shown])
        if same > most and same >= len(headings) - 3:
            best, most = key, same
    return best


def check_page_tables(view, page, known):
    at = dict.fromkeys(known["tables"], 0)
    all_rows = {key: rows_of(view, key, table) for key, table in known["tables"].items()}
    for headings, rows in page.tables:
        key = table_of(headings, known)
        if key is None:
            continue
        by_heading = {h: k for k, h in known["tables"][key]["keys"].items() if h != "-"}
        for row in rows[1:]:
            cells = [(by_heading[h], cell) for h, cell in zip(headings, row) if h in by_heading]
            while at[key] < len(all_rows[key]) and not all(shows(cell, all_rows[key][at[key]][k]) for k, cell in cells):
                at[key] += 1
            if at[key] == len(all_rows[key]):
                fail(f"page: no row of {key} in the JSON, in this order, is {cells}")
                return
            at[key] += 1


def check_text_tables(text, page, wanted):
    lines = [flat(line) for line in text.split("\n")]
    seen, start = 0, 0
    for headings, rows in page.tables:
        head = flat(" ".join(headings))
        try:
            at = lines.index(head, start)
        except ValueError:
            continue
        body = [flat(" ".join(row)) for row in rows[1:]]
        if lines[at + 1 : at + 1 + len(body)] != body or (len(lines) > at + 1 + len(body) and lines[at + 1 + len(body)]
                                                          and not lines[at + 1 + len(body)].startswith("and ")):
            fail(f"text and page differ in the table '{head}'")
        seen, start = seen + 1, at + 1
    if seen != wanted:
        fail(f"the text shows {seen} tables as the page does, not {wanted}")


def check_blocks(text, page):
    """Each row of the page stands in the text, as a whole and in order."""
    said, at, rows = flat(text), 0, [b for b in page.blocks if b and len(b) > 1]
    for row in rows:
        words = flat(" ".join(row))
        at = said.find(words, at)
        if at < 0:
            fail(f"the text does not show '{words}', or not in this order")
            return
        at += len(words)
    if not rows:
        fail("the page shows no rows as blocks")


def plain(value, field):
    if value is None:
        return field == ""
    if isinstance(value, bool):
        return field == ("true" if value else "false")
    if isinstance(value, list):
        return field == "+".join(value)
    if isinstance(value, str):
        return field.lstrip("'") == value.lstrip("'")
    return field != "" and float(field) == float(value)


def check_csv(view, raw, known):
    if re.search(rb"[^\r]\n", raw):
        fail("CSV: a line does not end in CR LF")
    rows = list(csv.DictReader(io.StringIO(raw.decode("utf-8", "replace"), newline="")))
    parts = [(k, t) for k, t in known["tables"].items() if t["csv"]]
    wanted = [(key, table, row) for key, table in parts for row in rows_of(view, key, table)]
    if len(rows) != len(wanted):
        fail(f"CSV has {len(rows)} rows, JSON {len(wanted)}")
    for row, (key, table, value) in zip(rows, wanted):
        run = view.get("run") or {}
        if "run" in row and not (plain(run["id"], row["run"]) and plain(run["label"], row["label"])):
            fail("CSV: a row names another run")
        if not all(plain(value[k], row[k]) for k in table["keys"]):
            fail(f"CSV and JSON differ in {key}: {row} and {value}")
            break


# ---- what is listed ----

def read_keys(path):
    kinds, tables = {}, None
    with open(path, encoding="utf-8") as lines:
        for line in lines:
            what, kind, *rest = line.rstrip("\n").split("\t")
            one = kinds.setdefault(kind, {"codes": {}, "tables": {}})
            if what == "table":
                tables = one["tables"][rest[0]] = {"form": rest[1], "csv": rest[2] == "csv", "keys": {}}
            elif what == "key":
                tables["keys"][rest[1]] = rest[2]
            elif what not in ("kind", "word"):
                one["codes"][rest[0]] = (what, [] if rest[1] == "-" else rest[1].split())
    return kinds


def main():
    blkassay, keys, text_tables, *command = sys.argv[1:]
    command = [blkassay, *command]
    kinds = read_keys(keys)
    # What is shown may change on its own, as devices do: then once more.
    for _ in range(100):
        said = run_plain([*command, "--json", "-"])
        view = json.loads(said, object_pairs_hook=no_twins, parse_constant=no_constants)
        known = {**kinds[view["kind"]], "run": kinds["run"]["tables"]["run"]}
        known["codes"] = {**kinds["run"]["codes"], **known["codes"]}
        has_csv = any(t["csv"] for t in known["tables"].values())
        text, page = run_wide(command), Page()
        page.feed(run_plain([*command, "--page", "-"]).decode("utf-8", "replace"))
        rows = run_plain([*command, "--csv", "-"]) if has_csv else b""
        if run_plain([*command, "--json", "-"]) == said:
            break
    else:
        fail("it never stayed the same for four views")
    check_keys(view, known)
    check_findings(view, text, page, known)
    check_page_tables(view, page, known)
    if text_tables == "blocks":
        check_blocks(text, page)
    else:
        check_text_tables(text, page, int(text_tables))
    if has_csv:
        check_csv(view, rows, known)
    for words in failures:
        print(f"{' '.join(command)}: {words}")
    return 1 if failures else 0


sys.exit(main())
