"""ISA-TR88.00.02: seventeen unit states, all of which can be reached."""

import networkx as nx

from tests.outside import units
from tests.outside.conftest import Verify


def test_all_seventeen_unit_states_are_reached_by_shortest_ways(verify: Verify) -> None:
    """17 states (ISA-TR88.00.02, from memory). Shortest ways: networkx on the same table."""
    given = verify(units.sequence())
    graph: nx.DiGraph[str] = nx.DiGraph(units.moves())
    shortest = nx.single_source_shortest_path_length(graph, "stopped")
    assert given.plain.states == 17 == len(shortest)
    assert given.plain.transitions == len(units.moves())
    for state, steps in shortest.items():
        assert given.plain.of(f"R_{state}").verdict == "holds"
        assert given.plain.of(f"R_{state}").steps == steps
    assert given.exit_code == 0
