"""The master's marker where a disc's serial belongs: a finding in the ledger, as the disc was not written from its stamped image."""

from dataclasses import replace

from mastering.judging.verdict import Finding, Verdict
from mastering.master.master import Side


def with_marker_found(verdict: Verdict, side: Side) -> Verdict:
    """A verdict in which the marker in the serial slot is a finding, where the slot's sector was read well and holds it."""
    slot = side.slot
    if slot is None or verdict.serial is not None or verdict.good is None or verdict.diagnosis is not None:
        return verdict
    place = (slot.track, slot.head, slot.sector)
    here = [finding for finding in verdict.findings if (finding.track, finding.head, finding.sector) == place]
    if any(finding.kind != "soft" for finding in here):
        return verdict
    order = {(each.track, each.head, each.sector): number for number, each in enumerate(side.geometry.addresses)}
    findings = [finding for finding in verdict.findings if finding not in here] + [Finding(*place, "serial")]
    findings.sort(key=lambda finding: order[finding.track, finding.head, finding.sector])
    start = side.slot_start or 0
    marker = side.dump[start : start + slot.bytes].decode("latin-1")
    unproven = verdict.unproven - (verdict.evidence == "dump" and slot.place in side.unproven)
    return replace(verdict, findings=tuple(findings), good=verdict.good - 1, unproven=unproven, slot=(marker,))
