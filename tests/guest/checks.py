"""What the guest must show, each check a function of the board; what it returns is put in the log.

The line is looked at from outside the controller: the simulated chip's own file. Limits are those
of the hazard table plus what emulation costs (a program starts ten to thirty times slower here).
"""

from __future__ import annotations

import json
from collections.abc import Callable

from controller.simulation.onewire import scratchpad, slave_text
from tests.guest.image import CHAMBER, GPIO, ROM
from tests.guest.machine import Machine

UNIT = f"barmkeep@{CHAMBER}.service"
LINE = f"/sys/devices/platform/gpio-sim.0/gpiochip*/sim_gpio{GPIO}/value"
PERSIST = "/sys/module/gpio_sim/parameters/persist_gpio_outputs"
PROBE = f"/run/bus/{ROM}/w1_slave"
JOURNAL = f"/var/lib/barmkeep/{CHAMBER}"
COLD_C = 20
START_S = 240.0  # Why: start, three proofs and the rest after a change; emulated.


class Board:
    """The guest with its one relay and one probe."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine

    def is_hot(self) -> bool:
        """Whether the relay's line is high."""
        return self.machine.read(LINE).strip() == "1"

    def put_probe(self) -> None:
        """A probe in cold beer."""
        text = slave_text(scratchpad(COLD_C * 16)).decode()
        self.machine.ask(
            f"rm -rf /run/bus/{ROM}; mkdir -p /run/bus/{ROM}; cat > {PROBE} <<'END'\n{text}END"
        )

    def heated(self) -> float:
        """Wait until the controller heats; how long that took, in s."""
        return self.machine.until(self.is_hot, START_S)

    def cooled(self, within_s: float) -> float:
        """Wait until the line is low; how long that took, in s."""
        return self.machine.until(lambda: not self.is_hot(), within_s)

    def pid(self) -> str:
        """The process that owns the relays."""
        return self.machine.ask(f"systemctl show -P MainPID {UNIT}").strip()

    def lines(self) -> list[dict[str, object]]:
        """The controller's journal, in order."""
        said = self.machine.ask(f"zcat -f {JOURNAL}/*.jsonl*")
        return [json.loads(line) for line in said.splitlines()]


def heat_follows(board: Board) -> str:
    """Cold beer: the line goes high, and low when the controller is told to stop."""
    board.put_probe()
    took_s = board.heated()
    board.machine.ask(f"systemctl stop {UNIT}")
    assert not board.is_hot()
    board.machine.ask(f"systemctl start {UNIT}")
    return f"high after {took_s:.1f} s, low when `systemctl stop` returned"


def sandbox_holds(board: Board) -> str:
    """It runs unprivileged, without one capability, under a filter of system calls."""
    board.heated()
    status = board.machine.ask(f"cat /proc/{board.pid()}/status")
    found = dict(line.split(":", 1) for line in status.splitlines() if ":" in line)
    assert found["Uid"].split()[0] != "0"
    assert int(found["CapEff"], 16) == int(found["CapBnd"], 16) == 0
    assert found["NoNewPrivs"].strip() == "1" and found["Seccomp"].strip() == "2"
    refused = board.machine.tried("journalctl -b --no-pager | grep 'type=1326'")[1]
    assert not refused, refused
    return "no capability, no new privileges, system calls filtered, none refused"


def kill_is_low(board: Board) -> str:
    """kill -9 while heating, on a kernel that keeps a dead process's output: the stop step."""
    board.machine.ask(f"echo Y > {PERSIST}")
    board.heated()
    board.machine.ask(f"kill -9 {board.pid()}")
    took_s = board.cooled(20.0)
    again_s = board.heated()
    return f"low after {took_s:.1f} s, heating again after {again_s:.1f} s"


def kill_without_stop_step_stays_high(board: Board) -> str:
    """The same without the stop step: what it is there for. The line is then put low by hand."""
    board.machine.ask(
        f"echo Y > {PERSIST}; mkdir -p /run/systemd/system/{UNIT}.d;"
        f"cd /run/systemd/system/{UNIT}.d;"
        f"printf '[Service]\\nExecStopPost=\\nRestart=no\\n' >none.conf;"
        f"systemctl daemon-reload"
    )
    board.heated()
    board.machine.ask(f"kill -9 {board.pid()}; sleep 5")
    stayed = board.is_hot()
    board.machine.ask(f"cd /run && /opt/barmkeep/bin/python -I -m controller.stop --gpio {GPIO}")
    by_hand = board.is_hot()
    board.machine.ask(
        f"rm -r /run/systemd/system/{UNIT}.d; systemctl daemon-reload; systemctl start {UNIT}"
    )
    assert stayed, "this kernel let go by itself, so it is not like a Raspberry Pi's"
    assert not by_hand
    return "still high after 5 s; low after `barmkeep off --gpio 17`"


def kill_on_a_strict_kernel(board: Board) -> str:
    """kill -9 where the kernel lets go (dtparam=strict_gpiod)."""
    board.machine.ask(f"echo N > {PERSIST}")
    board.heated()
    board.machine.ask(f"kill -9 {board.pid()}")
    took_s = board.cooled(5.0)
    board.machine.ask(f"echo Y > {PERSIST}")
    return f"low after {took_s:.1f} s"


def stalled_is_low(board: Board) -> str:
    """A process that stands still: systemd's watchdog, then the stop step."""
    board.heated()
    board.machine.ask(f"kill -STOP {board.pid()}")
    took_s = board.cooled(30.0 + 20.0)
    result = board.machine.ask(f"journalctl -b --no-pager -u {UNIT} | grep -c 'Watchdog timeout'")
    board.heated()
    return f"low after {took_s:.1f} s (WatchdogSec=30), {result.strip()} timeout in the log"


def unplugged_is_low(board: Board) -> str:
    """The beer probe's folder is gone."""
    board.heated()
    board.machine.ask(f"rm -r /run/bus/{ROM}")
    took_s = board.cooled(60.0 + 15.0)
    board.put_probe()
    again_s = board.heated()
    return f"low after {took_s:.1f} s, heating again {again_s:.1f} s after it was plugged in"


def empty_is_low(board: Board) -> str:
    """The kernel gives an empty file, as it does for a probe that no longer answers."""
    board.heated()
    board.machine.ask(f": > {PROBE}")
    took_s = board.cooled(60.0 + 15.0)
    board.put_probe()
    board.heated()
    return f"low after {took_s:.1f} s"


def hung_bus_is_low(board: Board) -> str:
    """A read that never returns; then kill -9 on top of it, with the reader still hanging."""
    board.heated()
    board.machine.ask(f"rm {PROBE}; mkfifo {PROBE}; chmod 644 {PROBE}")
    took_s = board.cooled(60.0 + 20.0)
    board.put_probe()
    board.heated()
    board.machine.ask(f"rm {PROBE}; mkfifo {PROBE}; chmod 644 {PROBE}; sleep 6")
    assert board.is_hot()
    board.machine.ask(f"kill -9 {board.pid()}")
    killed_s = board.cooled(20.0)
    board.put_probe()
    board.heated()
    return f"low after {took_s:.1f} s; with kill -9 on top after {killed_s:.1f} s"


def full_disk_changes_nothing(board: Board) -> str:
    """The disk is full: control goes on, and what waited is written afterwards."""
    board.heated()
    before = board.pid()
    board.machine.tried("dd if=/dev/zero of=/full bs=1M 2>/dev/null; sync; sleep 20")
    assert board.is_hot() and board.pid() == before
    board.machine.ask(f"rm -r /run/bus/{ROM}")
    took_s = board.cooled(60.0 + 15.0)
    board.machine.ask("rm /full")
    board.put_probe()
    board.heated()
    assert board.pid() == before
    gaps = _gaps(board)
    assert not gaps, gaps
    return f"went on heating; unplugged meanwhile: low after {took_s:.1f} s; no line is missing"


def wrong_file_is_refused(board: Board) -> str:
    """A file whose chamber has another name is refused before any line is driven."""
    board.machine.ask(
        "sed 's/garage-left/other/' /etc/barmkeep/garage-left.toml > /etc/barmkeep/x.toml"
    )
    board.machine.tried("systemctl start barmkeep@x.service")
    said = board.machine.ask(
        "journalctl -b --no-pager -u barmkeep@x.service; systemctl stop barmkeep@x"
    )
    assert "the same name" in said, said
    return "refused with the remedy"


def dashboard_has_it(board: Board) -> str:
    """The lines went through the broker, with its passwords, into the dashboard's store."""
    store = "/var/lib/barmkeep-dashboard/store.db"
    count = (
        "python3 -c \"import sqlite3; print(sqlite3.connect('file:" + store + "?mode=ro', uri=True)"
        ".execute('select count(*) from ticks').fetchone()[0])\""
    )
    took_s = board.machine.until(lambda: int(board.machine.ask(count)) > 0, 150.0)
    page = board.machine.ask(
        "python3 -c \"import urllib.request as u; print(u.urlopen('http://127.0.0.1:8124/').status)\""
    )
    assert page.strip() == "200"
    return f"{board.machine.ask(count).strip()} ticks stored (waited {took_s:.0f} s), page 200"


def memory_is_small(board: Board) -> str:
    """What a board of 512 MB must carry."""
    board.heated()
    said = board.machine.ask("ps -eo rss=,args= | grep -E '[b]armkeep|[p]robe_reader|[m]osquitto'")
    parts = {"dashboard": 0, "probe_reader": 0, "mosquitto": 0, "barmkeep run": 0}
    for line in said.splitlines():
        size, words = line.split(None, 1)
        for name in parts:
            if name in words:
                parts[name] += int(size) // 1024
                break
    assert sum(parts.values()) < 150, parts
    return ", ".join(f"{name} {size} MB" for name, size in parts.items())


def upgrade_keeps_everything(board: Board) -> str:
    """The installer once more: no change, and the chamber goes on."""
    before = board.pid()
    said = board.machine.ask("python3 /src/systemd/install.py --wheels /wheels", 300.0)
    assert "0 changes" in said, said
    assert board.pid() == before
    return "run again: 0 changes"


def frozen_machine_is_reset(board: Board) -> str:
    """systemd frozen: the hardware watchdog resets the machine; low, then it resumes."""
    board.heated()
    boot = board.lines()[-1]["boot"]
    board.machine.ask("sync")
    board.machine.tried("(sleep 1; echo 1 > /sys/fs/cgroup/init.scope/cgroup.freeze) &")
    took_s = board.machine.wait_for_boot()
    return _resumed(board, boot, f"another boot after {took_s:.0f} s")


def power_cut_resumes(board: Board) -> str:
    """The power is cut while heating: low at the start, the step goes on, a minute is lost."""
    board.put_probe()
    board.heated()
    last = board.lines()[-1]
    board.machine.reset()
    took_s = board.machine.wait_for_boot()
    told = _resumed(board, last["boot"], f"another boot after {took_s:.0f} s")
    kept = [line for line in board.lines() if line["boot"] == last["boot"]]
    lost_s = float(str(last["mono_s"])) - float(str(kept[-1]["mono_s"]))
    assert lost_s <= 65.0, lost_s
    return f"{told}; {max(lost_s, 0.0):.0f} s of lines lost"


def _resumed(board: Board, boot: object, told: str) -> str:
    assert not board.is_hot()
    board.put_probe()
    again_s = board.heated()
    begun = [x for x in board.lines() if x["boot"] != boot and x.get("code") == "controller"][-1]
    assert begun["text"] == "Started. Step 1 goes on where it was.", begun
    gaps = _gaps(board)
    assert not gaps, gaps
    return f"{told}, line low, heating again {again_s:.0f} s later, step resumed"


def _gaps(board: Board) -> list[object]:
    """Lines of a boot that do not follow the one before."""
    seen: dict[object, int] = {}
    gaps = []
    for line in board.lines():
        boot, seq = line["boot"], int(str(line["seq"]))
        if seq != seen.get(boot, 0) + 1:
            gaps.append((boot, seen.get(boot), seq))
        seen[boot] = seq
    return gaps


CHECKS: tuple[Callable[[Board], str], ...] = (
    heat_follows,
    sandbox_holds,
    kill_is_low,
    kill_without_stop_step_stays_high,
    kill_on_a_strict_kernel,
    stalled_is_low,
    unplugged_is_low,
    empty_is_low,
    hung_bus_is_low,
    full_disk_changes_nothing,
    wrong_file_is_refused,
    dashboard_has_it,
    memory_is_small,
    upgrade_keeps_everything,
    power_cut_resumes,
    frozen_machine_is_reset,
)
