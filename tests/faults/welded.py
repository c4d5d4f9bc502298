"""The unit's relay has welded: ordered open, the current goes on."""
import copy
import time

from bench_process import wait_for
from shop import BENCH, COIL, CONTACTOR, Figures, Shop

UNIT = "hollin_p4"
WELDS_AT_S = 6.0
SECOND_ORDER_WITHIN_S = 2.0
CONTACTOR_WITHIN_S = 4.0
# From the order to the wire, on a busy machine: an engine's second, a turn of the loop.
SLACK_S = 0.5
NIGHT = [("[room]", f'[[fault]]\nunit = "{UNIT}"\nkind = "welded_relay"\nat = "20:00:{WELDS_AT_S:02.0f}"\n\n[room]')]


class RelayWelded:
    """A welded relay: a second order by 2 s, the bench contactor by 4 s, a loud word; and nobody starts the unit again before the relay is proven."""
    plants = "the contactor's coil is not connected: it takes the order and stays closed"
    fails_by = "no unit to have power"

    def run(self, options, is_planted):
        figures = Figures("relay welded")
        for turn in range(options.times):
            one = copy.copy(options)
            one.folder = options.folder / str(turn)
            with Shop(one, night=NIGHT, swallows=lambda write: is_planted and write.coil == CONTACTOR and not write.on) as shop:
                self.one(shop, figures)
            figures.count("welded relays")
            figures.held("every start refused, also after a new start of the daemon", "a neighbour waits and has not failed", "after a repair a rehearsal is asked for")
        return figures

    def one(self, shop, figures):
        shop.start_runs()
        time.sleep(max(0.0, shop.said.first("ready") + WELDS_AT_S + 0.5 - time.monotonic()))
        shop.post(f"/api/v1/units/{UNIT}/stop", why="the campaign")
        ordered_at = wait_for("the order on the wire", lambda: shop.wire.of(COIL[UNIT], False), 2)[0].at
        again = wait_for("a second order", lambda: shop.wire.of(COIL[UNIT], False, ordered_at + 0.01), SECOND_ORDER_WITHIN_S + SLACK_S + 1)[0].at
        figures.add("order to second order", again - ordered_at)
        assert again - ordered_at <= SECOND_ORDER_WITHIN_S + SLACK_S, f"the second order came after {again - ordered_at:.2f} s"
        contactor = wait_for("the contactor's order", lambda: shop.wire.of(CONTACTOR, False, ordered_at), CONTACTOR_WITHIN_S + SLACK_S + 1)[0].at
        figures.add("order to contactor", contactor - ordered_at)
        assert contactor - ordered_at <= CONTACTOR_WITHIN_S + SLACK_S, f"the contactor was ordered open after {contactor - ordered_at:.2f} s"
        figures.add("order to dead bench", shop.all_off_after(ordered_at, CONTACTOR_WITHIN_S + 2 * SLACK_S))
        self.is_loud(shop)
        shop.stays_off(1.0, contactor)
        self.refuses(shop)
        shop.kill(shop.daemon)
        shop.start_daemon()
        self.refuses(shop)
        self.needs_a_proof(shop)

    def is_loud(self, shop):
        def told():
            return [i for i in shop.bench_view()["incidents"] if i["priority"] in ("high", "highest") and i["is_standing"]]
        wait_for("a loud incident", told, 5)
        others = [u for u in shop.bench_view()["units"] if u["name"] != UNIT]
        assert all(u["run"]["power"] == "bench_open" for u in others), [(u["name"], u["run"]["power"]) for u in others]
        assert not any(u["run"]["verdict"] and u["run"]["verdict"]["word"] == "fail" for u in others), "a neighbour has failed for another's relay"

    def refuses(self, shop):
        since = time.monotonic()
        for at_the_bench in (False, True):
            status, answer = shop.http.post(f"/api/v1/units/{UNIT}/start", {"who": "Ada", "at_the_bench": at_the_bench})
            assert status == 409, f"a start behind a defective relay was not refused: {status} {answer}"
        assert not shop.wire.of(COIL[UNIT], True, since), "a defective relay was ordered closed"

    def needs_a_proof(self, shop):
        """Replaced, says a person; whoever wants to leave the unit still has to see it open."""
        shop.post(f"/api/v1/units/{UNIT}/repaired", note="a new relay")
        items = {i["key"]: i for i in shop.http.get(f"/api/v1/units/{UNIT}/ready?who=Ada")["items"]}
        assert items["rehearsal"]["state"] == "no", items["rehearsal"]
