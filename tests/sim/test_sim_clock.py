"""Simulated time wakes its sleepers in order, at their own times, and at no other."""

import asyncio

from pourcall.sim.clock import SimClock


async def test_sleepers_wake_in_order_with_the_clock_at_their_time() -> None:
    clock = SimClock(mono_s=100.0)
    woke: list[tuple[str, float]] = []

    async def sleeper(name: str, *naps: float) -> None:
        for nap in naps:
            await clock.sleep(nap)
            woke.append((name, clock.mono_s()))

    tasks = [asyncio.create_task(sleeper("a", 1.0, 1.0, 1.0)), asyncio.create_task(sleeper("b", 1.5, 0.25))]
    await asyncio.sleep(0)
    await clock.advance(10.0)
    await asyncio.gather(*tasks)
    assert woke == [("a", 101.0), ("b", 101.5), ("b", 101.75), ("a", 102.0), ("a", 103.0)]
    assert clock.mono_s() == 110.0


async def test_time_stands_still_until_it_is_advanced() -> None:
    clock = SimClock()
    task = asyncio.create_task(clock.sleep(1.0))
    await asyncio.sleep(0.01)
    assert not task.done()
    await clock.advance(0.999)
    assert not task.done()
    await clock.advance(0.001)
    await task


async def test_a_cancelled_sleeper_is_passed_over() -> None:
    clock = SimClock()
    task = asyncio.create_task(clock.sleep(1.0))
    await asyncio.sleep(0)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    await clock.advance(5.0)
    assert task.cancelled()


async def test_no_time_at_all_still_gives_others_a_turn() -> None:
    clock = SimClock()
    before = clock.mono_s()
    await clock.sleep(0.0)
    assert clock.mono_s() == before


async def test_a_jump_of_the_wall_clock_leaves_the_monotonic_one_alone() -> None:
    clock = SimClock(mono_s=5.0, utc_s=1000.0)
    clock.shift_utc(3600.0)
    await clock.advance(1.0)
    assert (clock.mono_s(), clock.utc_s()) == (6.0, 4601.0)
