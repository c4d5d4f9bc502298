"""Campaigns with units powered: the daemon is killed or stands still, the power comes back, a second daemon is started."""
import random
import signal
import subprocess
import time

from bench_process import end, free_port
from shop import BENCH_GRAIN_S, Figures, Shop, WATCHDOG_S

SLACK_S = 0.5
OFF_WITHIN_S = WATCHDOG_S + SLACK_S
QUIET_S = 1.0
HASTY_S = 6.0


class Killed:
    """kill -9 at random moments: the outlets open by themselves, nothing stored is lost, nothing comes on by itself."""
    plants = "the watchdog is not wired"
    fails_by = "no unit to have power within"

    def run(self, options, is_planted):
        figures = Figures("killed while powered")
        with Shop(options, has_watchdog=not is_planted) as shop:
            shop.start_runs()
            for _ in range(options.times):
                time.sleep(random.uniform(0.0, 1.5))
                before, runs = shop.rows(), [u["run"]["id"] for u in shop.bench_view()["units"]]
                shop.kill(shop.daemon)
                killed_at = time.monotonic()
                figures.add("kill to the last outlet open", shop.all_off_after(killed_at, OFF_WITHIN_S + BENCH_GRAIN_S))
                shop.start_daemon()
                shop.waits_for_a_person()
                assert [u["run"]["id"] for u in shop.bench_view()["units"]] == runs, "another run than the one that was killed"
                shop.stays_off(QUIET_S, killed_at)
                shop.check_store(before)
                figures.count("kills")
                figures.held("no row that was on the disk is lost", "the same run waits, its gap shown", "nothing came on by itself")
                shop.go_on()
        return figures


class Stopped:
    """The whole process stands still (SIGSTOP), and then goes on as if nothing had been."""
    plants = "the watchdog is not wired"
    fails_by = "no unit to have power within"

    def run(self, options, is_planted):
        figures = Figures("stopped while powered")
        with Shop(options, has_watchdog=not is_planted) as shop:
            shop.start_runs()
            for _ in range(options.times):
                time.sleep(random.uniform(0.0, 1.0))
                shop.daemon.send_signal(signal.SIGSTOP)
                try:
                    stopped_at = time.monotonic()
                    figures.add("stop to the last outlet open", shop.all_off_after(stopped_at, OFF_WITHIN_S + BENCH_GRAIN_S))
                    time.sleep(random.uniform(0.0, 1.5))
                finally:
                    shop.daemon.send_signal(signal.SIGCONT)
                shop.waits_for_a_person()
                shop.stays_off(QUIET_S, stopped_at + WATCHDOG_S)
                figures.count("stops")
                figures.held("the run waits, its gap shown", "nothing came on by itself")
                shop.go_on()
        return figures


class PowerReturn:
    """The supply fails and returns: of the bench alone, or of bench and computer together, in either order of return. The relay
    module comes up with its contacts open; nobody asked for a restart, so nothing is switched on."""
    plants = "a policy that nobody should have set: staged restart, after six seconds of steady mains"
    fails_by = "came on by itself|ordered a contact closed by itself"

    def run(self, options, is_planted):
        figures = Figures("power comes back")
        config = [("stagger_seconds", "0.1")]
        with Shop(options, config=config) as shop:
            if is_planted:
                self.make_hasty(shop)
            shop.start_runs(**({"after_mains": "staged", "person_back_in_minutes": 60} if is_planted else {}))
            for turn in range(options.times):
                what = ("bench alone", "bench first", "computer first")[turn % 3]
                time.sleep(random.uniform(0.0, 0.5))
                before, gone_at = shop.rows(), time.monotonic()
                self.fail(shop, what, random.uniform(0.3, 2.0 * WATCHDOG_S))
                back_at = time.monotonic()
                shop.waits_for_a_person()
                figures.add("back until the run says that it waits", time.monotonic() - back_at)
                # The first of each kind is watched for longer than the quickest policy would take.
                shop.stays_off(HASTY_S + 3.0 if turn < 3 else QUIET_S, gone_at)
                shop.check_store(before)
                figures.count("returns of power"), figures.count(what)
                figures.held("nothing came on by itself, nor was ordered on", "the run waits, its gap shown", "no row that was on the disk is lost")
                shop.go_on()
        return figures

    def make_hasty(self, shop):
        text = (shop.folder / "bench.toml").read_text()
        (shop.folder / "bench.toml").write_text(text.replace("stagger_seconds = 0.1\n", f"stagger_seconds = 0.1\nmains_steady_minutes = {HASTY_S / 60.0}\n"))
        shop.kill(shop.daemon)
        shop.start_daemon()

    def fail(self, shop, what, seconds):
        if what != "bench alone":
            shop.kill(shop.daemon)
        shop.kill(shop.bench)
        time.sleep(seconds)
        if what == "computer first":
            shop.start_daemon()
            time.sleep(0.5)
        shop.start_bench()
        if what == "bench first":
            time.sleep(0.5)
            shop.start_daemon()


class SecondDaemon:
    """Somebody starts the daemon a second time: it must refuse before it has touched a wire."""
    plants = "the second daemon has a store of its own, so nothing tells it of the first"
    fails_by = "did not refuse|talked to the bench"
    REFUSES_WITHIN_S = 1.0

    def run(self, options, is_planted):
        figures = Figures("second daemon")
        with Shop(options) as shop:
            shop.start_runs()
            for turn in range(options.times):
                config = self.second_config(shop, turn % 2, is_planted)
                before, began = len(shop.wire.connections), time.monotonic()
                second = subprocess.Popen([str(options.daemon), "--config", config], stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
                try:
                    said = second.communicate(timeout=10 if not is_planted else 3)[0].decode()
                except subprocess.TimeoutExpired:
                    said = "it runs"
                finally:
                    end(second, signal.SIGKILL)
                took = time.monotonic() - began
                assert second.returncode not in (0, -signal.SIGKILL), f"the second daemon did not refuse: {said}"
                assert "another process has this store open" in said, said
                assert took < self.REFUSES_WITHIN_S, f"refused after {took:.2f} s"
                assert len(shop.wire.connections) == before, "the second daemon talked to the bench"
                assert shop.powered() == shop.units, "the first one's units lost their power"
                figures.add("start to refusal", took)
                figures.count("second daemons")
                figures.held("refused, with a reason", "no wire was touched", "the first one's units went on")
        return figures

    def second_config(self, shop, turn, is_planted):
        """The same configuration; the same store, but another port."""
        text = (shop.folder / "bench.toml").read_text()
        if is_planted:
            text = text.replace("/s.db", "/own.db")
        if turn > 0 or is_planted:
            text = text.replace(f"127.0.0.1:{shop.port}", f"127.0.0.1:{free_port()}")
        (shop.folder / "second.toml").write_text(text)
        return shop.folder / "second.toml"
