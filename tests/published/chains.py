"""Records of a whole product structure: each item after everything that asks for it."""

import networkx

from bom.questions.record import Holding, work_out_record
from bom.values import ONE


def work_out_chain(gross, holdings, lines, buckets):
    """Return the record of every item; ``lines`` are parent, child and the child's quantity in one parent."""
    graph = networkx.DiGraph((parent, child) for parent, child, _ in lines)
    graph.add_nodes_from([*gross, *holdings])
    asked = {item: list(gross.get(item, [0] * buckets)) for item in graph}
    records = {}
    for item in networkx.topological_sort(graph):
        records[item] = record = work_out_record(asked[item], holdings.get(item, Holding()))
        released = list(record.releases)
        released[0] += sum(quantity for _, quantity in record.past_due)
        for child, each in [(child, each) for parent, child, each in lines if parent == item]:
            for bucket, quantity in enumerate(released):
                asked[child][bucket] += quantity * each // ONE
    return records
