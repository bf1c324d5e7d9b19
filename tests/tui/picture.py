"""The picture in README: a round on the virtual rig, as the screens show it after some minutes.

`python -m tests.tui.picture` plays the demo quickly and writes docs/round.svg.
"""

from __future__ import annotations

import asyncio
import os
import re
import tempfile
import time
from pathlib import Path

import numpy as np

from rounds.faces.controller import RoundRequest
from rounds.faces.live import Live
from rounds.journal import MemoryJournal
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.simulation.demo import DEMO_RIG, OVERNIGHT_CENTS, START_S, TO_DOWNBEAT_S, asked, shipped_rig
from rounds.simulation.player import Player
from rounds.simulation.stage import Stage
from rounds.simulation.world import World
from rounds.tui.app import RoundsApp
from rounds.tui.widgets.slab import Slab

PAGE = Path(__file__).parents[2] / "docs" / "round.svg"
SIZE = (100, 30)
SPEED = 3.0
LEAST_CONNECTIONS = 3
LONGEST_S = 240.0


def tidy(svg: str) -> str:
    """No fonts from elsewhere, blanks kept, and one name for every run."""
    svg = re.sub(r"@font-face\s*\{.*?\}\s*", "", svg, flags=re.DOTALL)
    svg = re.sub(r"terminal-\d+", "terminal", svg)
    svg = svg.replace("font-family: Fira Code, monospace", "font-family: DejaVu Sans Mono, Menlo, monospace")
    return svg.replace("<text ", '<text xml:space="preserve" ').replace("&#160;", " ")


async def photograph(live: Live) -> str:
    """The screen at an order to pump, some connections into the round."""
    app = RoundsApp(live)
    async with app.run_test(size=SIZE) as pilot:
        limit_s = time.monotonic() + LONGEST_S
        while time.monotonic() < limit_s:
            await pilot.pause(0.02)
            told, view = app.screen.query_one(Slab).model, live.view()
            pumping = told is not None and told.act in ("add", "connect")
            reading = view.reading
            heard = reading is not None and reading.final and reading.bottle == view.instruction.bottle
            if pumping and heard and view.connections >= LEAST_CONNECTIONS:
                return app.export_screenshot(title="rounds demo")
    raise TimeoutError("the round never came to pumping")


def main() -> None:
    """Play until there is something to see, and write the picture."""
    os.environ["COLORTERM"] = "truecolor"
    world = World(load_rig(shipped_rig(DEMO_RIG)), np.random.default_rng(1), start_s=START_S)
    world.tuned(OVERNIGHT_CENTS)
    session = Session(world.rig, MemoryJournal(), world.now_s, place="demo")
    stage = Stage(world, Player(world), lambda: asked(session), speed=SPEED)
    with tempfile.TemporaryDirectory() as folder:
        accepted = Path(folder) / "read"
        accepted.touch()
        live = Live(session, stage.now_s, accepted_file=accepted, device="virtual rig")
        live.open_round(RoundRequest(downbeat_in_s=TO_DOWNBEAT_S, temp_c=round(world.temp_c)))
        live.listen_to(lambda: stage)
        try:
            PAGE.write_text(tidy(asyncio.run(photograph(live))), encoding="utf-8")
        finally:
            live.close()


if __name__ == "__main__":
    main()
