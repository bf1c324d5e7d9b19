"""Two worlds that are not ours, to measure the tool where it was not built.

The virtual rig of `rounds.simulation` was written by those who wrote the beliefs. These worlds share no
code, no law as written, no constant and no first guess with it, with `rounds.air` or with `rounds.belief`;
only the description of a rig (`rounds.rig`) and notes are the same. World B (`foreign_b`) carries targets,
world C (`foreign_c`) is harsher and is reported.

    from tests.worlds import foreign_b
    from tests.worlds.player import Hands, Gauges, VirtualPlayer

    world = foreign_b.make(seed=1, bottles=36, start="tuned", needed=25)
    session = Session(world.rig, MemoryJournal(), world.now_s)
    player = VirtualPlayer(world)
    result = player.play(session, pieces=["Most"], downbeat_s=world.now_s + 900.0)

What a world tells (truth) and lets be done is written at `tests.worlds.physics.World`; what a round gave is
`tests.worlds.player.Played`.
"""
