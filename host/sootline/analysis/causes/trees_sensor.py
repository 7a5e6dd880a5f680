"""Decision tree of a probe that lies. Priors and likelihoods: common practice, coarse (0.9 / 0.5 / 0.1)."""

from sootline.analysis.causes.tree import Cause, Tree

SENSOR_FAULT = Tree("sensor-fault", "common practice", (
    Cause(
        "probe-open", "probe, plug or lead open", 0.34,
        "Check plug, terminals and lead of the probe.", ("plug", "terminals", "lead near hot parts"),
        given={"fault-open": 0.9, "fault-absent": 0.4, "fault-short": 0.05, "fault-spiking": 0.3, "others-too": 0.06,
               "fault-range": 0.3, "fault-frozen": 0.03, "fault-drifted": 0.03},
    ),
    Cause(
        "probe-short", "lead pinched or wet: shorted", 0.14,
        "Look for a pinched, melted or wet lead.", ("lead", "moisture in the plug"),
        given={"fault-short": 0.95, "fault-range": 0.3, "fault-open": 0.03, "fault-frozen": 0.03,
               "fault-drifted": 0.03},
    ),
    Cause(
        "probe-noise", "ignition noise or a poor contact", 0.14,
        "Look at shield, ground and how near the lead lies to the ignition cable.", ("shield", "ignition cable"),
        given={"fault-crc": 0.9, "fault-spiking": 0.9, "fault-open": 0.03, "fault-short": 0.03, "fault-frozen": 0.03,
               "fault-drifted": 0.03},
    ),
    Cause(
        "probe-bus", "what several probes share: bus, supply or ground", 0.1,
        "Look at the shared wires and the supply of the probes.", ("bus wires", "supply", "pull-up"),
        given={"others-too": 0.95, "fault-absent": 0.7, "fault-crc": 0.5, "fault-drifted": 0.03},
    ),
    Cause(
        "probe-frozen", "the converter or its chip hangs", 0.12,
        "Switch the board's supply off and on; then change the converter.", ("converter", "its supply"),
        given={"fault-frozen": 0.92, "fault-absent": 0.3, "fault-open": 0.03, "others-too": 0.1},
    ),
    Cause(
        "probe-drift", "the probe has moved, aged or sooted over", 0.1,
        "See whether the probe still sits where it should; compare it with another one.", ("probe seat", "soot"),
        given={"fault-drifted": 0.95, "fault-frozen": 0.05, "others-too": 0.05, "fault-open": 0.02},
    ),
))  # fmt: skip

TREES = (SENSOR_FAULT,)
