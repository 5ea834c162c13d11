"""Ways in which a gadget, a sweep, or what is known of both can be odd. Each takes a generator of random numbers and a case of
culprit.py and changes it; culprit.py lays them over its gadgets, so that no cause is named wrongly where somebody swept only
large requests, or where a card programs 24 KiB at a time."""
import math

import gadget as G

KI = 1 << 10


def sizes(c, values):
    block = c.gadget["block"]
    c.sizes_text = ",".join(str(v) for v in sorted({max(block, v // block * block) for v in values}))


def two_sizes(r, c):
    low = r.choice([512, 4 * KI, 16 * KI])
    sizes(c, [low, low * r.choice([2, 8, 16, 64])])


def few_sizes(r, c):
    sizes(c, [512 << i for i in r.sample(range(10), r.choice([3, 4, 5]))])


def large_sizes(r, c):
    c.sizes_text = r.choice(["64Ki..1Mi", "32Ki..512Ki", "16Ki..128Ki", "120Ki,240Ki,480Ki,960Ki", "64Ki,80Ki,96Ki,112Ki"])
    c.request = r.choice([4 * KI, 64 * KI, 128 * KI])


def small_sizes(r, c):
    c.sizes_text = r.choice(["512..4Ki", "512..2Ki", "512,1Ki,1536,2Ki,2560,3Ki", "512,1Ki,4Ki,8Ki"] if c.gadget["block"] == 512 else
                            ["4Ki..16Ki", "4Ki,8Ki,12Ki,16Ki"])
    c.request = r.choice([512, 4 * KI])


def crooked_sizes(r, c):
    sizes(c, [int(512 * 1.5 ** (i + r.random())) for i in range(0, r.choice([8, 12]))])


def many_sizes(r, c):
    sizes(c, [4 * KI * i for i in range(1, r.choice([12, 25, 31]))])


def noisy(r, c):
    c.gadget = G.edited(c.gadget, jitter=r.uniform(0.05, 0.1))
    c.passes = r.choice([1, 2, 3])


def queued(r, c):
    c.in_flight = r.choice([2, 4, 8])


def crooked_queue(r, c):
    c.in_flight = r.choice([3, 5, 6])


def nothing_known(r, c):
    c.given, c.off = "none", 0


def off_by_5(r, c):
    c.given, c.off = "both", r.choice([-0.05, 0.05])


def against_5(r, c):
    c.given, c.off, c.against = "both", r.choice([-0.05, 0.05]), True


def card_alone_known(r, c):
    c.given, c.off = "card", r.choice([0, 0.05, -0.05])


def link_alone_known(r, c):
    c.given, c.off = "link", r.choice([0, 0.05, -0.05])


def slow_link(r, c):
    if not c.gadget["frames"]:
        speed = r.choice(["full", "high"])
        c.gadget = G.edited(c.gadget, speed=speed, rate=G.CEILING[speed] / r.uniform(1.5, 12), limit=120 * KI)
    c.given = r.choice(["none", "card"])


def framed(r, c):
    c.gadget = G.edited(c.gadget, speed=r.choice(["full", "high"]), frames=True, limit=120 * KI)


def overlapped_sectors(r, c):
    g = c.gadget
    each = g["block"] / g["rate"] * 10 ** r.uniform(-0.7, 0.7)
    kind = dict(unit="sector", read_command=each, write_command=each) if r.random() < 0.5 else dict(read_sector=each, write_sector=each)
    c.gadget = G.edited(g, transfer="overlapped", **kind)


def gap_and_card(r, c):
    g = c.gadget
    card = g["rate"] / r.uniform(1.2, 6)
    c.gadget = G.edited(g, read_rate=card, write_rate=card, gap=4096 / card * 10 ** r.uniform(-0.7, 0.7))


def small_gap(r, c):
    c.gadget = G.edited(c.gadget, gap=r.uniform(20e-6, 400e-6))


def rare_stalls(r, c):
    c.gadget = G.edited(c.gadget, stall_every=r.choice([8, 16, 32]) << 20, stall_time=r.uniform(0.2, 2))


def frequent_stalls(r, c):
    n = r.choice([8, 16, 64, 100]) * KI
    c.gadget = G.edited(c.gadget, stall_every=n, stall_time=n / c.gadget["write_rate"] * 10 ** r.uniform(-0.7, 0.7))


def behind(r, c):
    block = c.gadget["block"]
    c.gadget = G.edited(c.gadget, behind=r.choice([2, 4, 8, 16, 64, 512, 2048]) * max(block, 1 * KI), write_cache=r.random() < 0.5,
                        caching_page=r.random() < 0.7, reads=r.choice(["drain-first", "from-buffer"]))


def crooked_unit(r, c):
    c.gadget = G.edited(c.gadget, write_unit=r.choice([12, 24, 24, 40, 48, 48, 96, 192]) * KI)


def large_unit(r, c):
    c.gadget = G.edited(c.gadget, write_unit=r.choice([128, 256, 512, 1024]) * KI)


def hidden_unit(r, c):
    """Overlapped, the card much faster than the link: what it programs on top hides behind the link in part."""
    rate = c.gadget["rate"]
    c.gadget = G.edited(c.gadget, transfer="overlapped", write_rate=rate * r.uniform(2, 12), write_unit=r.choice([8, 16, 32, 64]) * KI)


def chunks(r, c):
    c.gadget = G.edited(c.gadget, transfer="overlapped", chunk=r.choice([4, 8, 12, 16, 24, 32, 64]) * KI)


def large_blocks(r, c):
    g = c.gadget
    c.gadget = G.edited(g, block=4096, behind=-(-g["behind"] // 4096) * 4096, write_unit=g["write_unit"] and max(4096, g["write_unit"]))
    c.sizes_text = r.choice(["4Ki..128Ki", "4Ki..1Mi", "4Ki,8Ki,12Ki,40Ki,120Ki"])


def small_limit(r, c):
    c.gadget = G.edited(c.gadget, limit=r.choice([4, 8, 32, 60, 64]) * KI)


def other_request(r, c):
    c.request = r.choice([512, 2 * KI, 16 * KI, 64 * KI, 128 * KI])


def unlimited_link(r, c):
    if not c.gadget["frames"]:
        c.gadget = G.edited(c.gadget, rate=math.inf, speed="none")


def unlimited_card(r, c):
    c.gadget = G.edited(c.gadget, read_rate=math.inf)


def equal_rates(r, c):
    rate = c.gadget["rate"] * r.uniform(0.95, 1.05)
    c.gadget = G.edited(c.gadget, read_rate=rate, write_rate=rate)


def everything(r, c):
    t = G.long_run_seconds(c.gadget, True, c.judged)
    part = lambda: t * 10 ** r.uniform(-2, -0.3)
    blocks = max(1, c.judged // c.gadget["block"])
    c.gadget = G.edited(c.gadget, link_cost=part(), firmware_cost=part(), gap=part(), read_command=part() / blocks, write_command=part() / blocks,
                        read_sector=part() / blocks, write_sector=part() / blocks)


def scraps(r, c):
    """Many costs, none of them large: there is much to gain though no cause stands out."""
    hard, rate = r.choice(["rate", "card"]), 10 ** r.uniform(5.8, 7.3)
    fast, each = rate * r.uniform(3, 12), 4096 / rate
    part = lambda: each * r.uniform(0, 0.25)
    link, card = (rate, fast) if hard == "rate" else (fast, rate)
    c.gadget = G.gadget(rate=link, read_rate=card, write_rate=card, transfer=r.choice(["overlapped", "store-and-forward"]),
                        jitter=r.choice([0, 0.005, 0.02]), seed=r.randrange(1, 1 << 30), firmware_cost=part(), gap=part() * r.choice([0, 1]),
                        read_sector=part() / 8, write_sector=part() / 8, read_command=part(), write_command=part())
    c.given, c.off = "both", r.choice([0, 0.02, -0.03])
    sizes(c, [512 << i for i in range(8)])


WAYS = [two_sizes, few_sizes, large_sizes, small_sizes, crooked_sizes, many_sizes, noisy, queued, crooked_queue, nothing_known, off_by_5,
        against_5, card_alone_known, link_alone_known, slow_link, framed, overlapped_sectors, gap_and_card, small_gap, rare_stalls,
        frequent_stalls, behind, crooked_unit, large_unit, hidden_unit, chunks, large_blocks, small_limit, other_request, unlimited_link,
        unlimited_card, equal_rates, everything, scraps]


def twist(r, c, index):
    """One way after another, most often with a second one."""
    chosen = [WAYS[index % len(WAYS)]] + r.sample(WAYS, r.choice([0, 1, 1, 2]))
    for way in chosen:
        way(r, c)
    g = c.gadget
    if g["write_unit"] and g["write_unit"] % g["block"]:
        g = G.edited(g, write_unit=0)
    if g["chunk"] % g["block"] or g["transfer"] != "overlapped":
        g = G.edited(g, chunk=0)
    if math.isinf(g["rate"]) and (math.isinf(g["read_rate"]) or math.isinf(g["write_rate"])):
        g = G.edited(g, rate=20e6)
    c.gadget = G.edited(g, write_cache=g["write_cache"] and g["caching_page"])
    c.ways = [way.__name__ for way in chosen]
