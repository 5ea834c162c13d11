"""Computes the contrast of all that a page of `report --page` draws, from its own style sheet: page_contrast.py PAGE...

Lines, boxes, bands and marks need 3:1 against the paper (WCAG 2.1, 1.4.11), words 4.5:1 (1.4.3), in the light and the dark
scheme and in print. Luminance and ratio as WCAG 2.1 defines them. Grid lines are left out: ticks mark the same places."""
import re
import sys

NON_TEXT, TEXT = 3.0, 4.5
DECORATION = {"grid"}
faults = []


def channels(colour):
    colour = colour.lstrip("#")
    if len(colour) == 3:
        colour = "".join(c * 2 for c in colour)
    return [int(colour[i:i + 2], 16) / 255 for i in (0, 2, 4)]


def luminance(rgb):
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in rgb]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a, b):
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


def over(colour, paper, opacity):
    return [c * opacity + p * (1 - opacity) for c, p in zip(colour, paper)]


def properties(body):
    return dict(p.split(":", 1) for p in body.split(";") if ":" in p)


def schemes(css):
    """The colours by name of each scheme; those of print stand above the light ones."""
    roots = re.findall(r"(@media[^{]*\{)?:root\{(.*?)\}", css)
    found = {}
    for media, body in roots:
        name = "dark" if "dark" in media else "print" if "print" in media else "light"
        found[name] = {k[2:]: channels(v) for k, v in properties(body).items() if k.startswith("--")}
    if set(found) != {"light", "dark", "print"}:
        sys.exit(f"schemes: {sorted(found)}")
    return found


def rules(css):
    """(set of classes, properties) of each rule for classes alone, in order; those for a medium are not about colours."""
    flat = re.sub(r"@media[^{]*\{(?:[^{}]*\{[^{}]*\})*\}", "", css)
    for selectors, body in re.findall(r"([^{}]+)\{([^{}]*)\}", flat):
        for s in selectors.split(","):
            if re.fullmatch(r"\s*(\.[a-z0-9-]+)+\s*", s):
                yield set(s.strip().strip(".").split(".")), properties(body)


def paint(value, colours):
    if value in (None, "none"):
        return None
    name = re.fullmatch(r"var\(--(\w+)\)", value.strip())
    return colours[name[1]] if name else channels(value)


def drawn(tag, look, colours):
    """The strongest contrast of an element's fill and stroke."""
    paper, whole = colours["paper"], float(look.get("opacity", 1))
    parts = [("stroke", 1.0)]
    if tag != "line":
        parts.append(("fill", float(look.get("fill-opacity", 1))))
    ratios = [contrast(over(c, paper, o * whole), paper) for k, o in parts if (c := paint(look.get(k), colours))]
    return max(ratios, default=0)


def check_drawings(page, css, scheme, colours):
    sheet = list(rules(css))
    seen = set(re.findall(r"<(path|line|rect) class=\"([^\"]*)\"", page))
    if len(seen) < 3:
        faults.append("hardly anything is drawn")
    for tag, classes in sorted(seen):
        names, look = set(classes.split()), {}
        if names & DECORATION:
            continue
        for wanted, body in sheet:
            if wanted <= names:
                look.update(body)
        ratio = drawn(tag, look, colours)
        if ratio < NON_TEXT:
            faults.append(f"{scheme}: <{tag} class=\"{classes}\"> has {ratio:.2f}:1 against the paper")


def check_words(scheme, colours):
    for word, grounds, least in (("ink", "paper sheet lookbg", TEXT), ("soft", "paper sheet", TEXT), ("c0", "paper", TEXT),
                                 ("look", "paper lookbg", TEXT), ("rule", "paper sheet", NON_TEXT), ("c0", "sheet", NON_TEXT)):
        for ground in grounds.split():
            ratio = contrast(colours[word], colours[ground])
            if ratio < least:
                faults.append(f"{scheme}: '{word}' has {ratio:.2f}:1 on '{ground}'")


for path in sys.argv[1:]:
    text = open(path, encoding="utf-8").read()
    style = "".join(re.findall(r"<style>(.*?)</style>", text, flags=re.S))
    for name, palette in schemes(style).items():
        check_drawings(text, style, name, palette)
        check_words(name, palette)
print("\n".join(sorted(set(faults))))
sys.exit(bool(faults))
