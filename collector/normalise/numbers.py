"""Plain numbers that are readings: counters, shares, durations and the like, told without a Sensor behind them.

Source: DSP8010 2025.4, the ``…Metrics`` schemas and those named below; ``tests/standards/test_words.py`` compares the
tables with the schemas, property by property. What stands there and is no reading is in :data:`NO_READINGS`.

Names, made of the properties' names by ``excerpts.readable``, are kept: fault isolation goes by them. Those of errors
and wear, all of quantity COUNT or PERCENT:

* memory: ``lifetime correctable ECC error count``, ``lifetime uncorrectable ECC error count`` and the same with
  ``current period``; ``predicted media life left``, ``remaining spare block``;
* processor: ``cache lifetime correctable ECC error count`` and so on, ``correctable core error count``,
  ``uncorrectable core error count``, ``correctable other error count``, ``uncorrectable other error count``;
* drive: ``predicted media life left``, ``correctable IO read error count`` (``uncorrectable``, ``write``),
  ``bad block count``, ``SMART life used``, ``SMART available spare``, ``SMART media and data integrity errors``;
* storage controller: ``correctable ECC error count``, ``uncorrectable ECC error count``;
* port: ``RX errors``, ``TX errors``, ``networking RX FCS errors``;
* PCIe, of processor, switch and port: ``PCIe correctable error count``, ``PCIe non fatal error count``,
  ``PCIe fatal error count``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from msgspec import Struct

from collector.model import Quantity
from collector.normalise.bodies import Body

Unit = tuple[Quantity, str]

COUNT: Unit = (Quantity.COUNT, "1")
RATIO: Unit = (Quantity.OTHER, "1")
MILLIONS: Unit = (Quantity.OTHER, "10*6")
PERCENT: Unit = (Quantity.PERCENT, "%")
BYTES: Unit = (Quantity.DATA, "By")
KIBIBYTES: Unit = (Quantity.DATA, "KiBy")
HOURS: Unit = (Quantity.TIME, "h")
MINUTES: Unit = (Quantity.TIME, "min")
SECONDS: Unit = (Quantity.TIME, "s")
MILLISECONDS: Unit = (Quantity.TIME, "ms")
CELSIUS: Unit = (Quantity.TEMPERATURE, "Cel")
WATTS: Unit = (Quantity.POWER, "W")
MILLIWATTS: Unit = (Quantity.POWER, "mW")
MILLIAMPERES: Unit = (Quantity.CURRENT, "mA")
VOLTS: Unit = (Quantity.VOLTAGE, "V")
MEGAHERTZ: Unit = (Quantity.FREQUENCY, "MHz")
DURATION: Unit = (Quantity.TIME, "duration")
"""An ISO 8601 duration in a string; read as seconds."""

Table = Mapping[str, Unit]


def _each(unit: Unit, names: str, below: str = "") -> dict[str, Unit]:
    return {below + name: unit for name in names.split()}


_PCIE_ERRORS = _each(
    COUNT,
    "CorrectableErrorCount NonFatalErrorCount FatalErrorCount L0ToRecoveryCount ReplayCount ReplayRolloverCount "
    "NAKSentCount NAKReceivedCount UnsupportedRequestCount BadTLPCount BadDLLPCount FlowControlTimeoutErrors",
    "PCIeErrors/",
)
_ECC = "CorrectableECCErrorCount UncorrectableECCErrorCount"
_CORE_ERRORS = (
    "CorrectableCoreErrorCount UncorrectableCoreErrorCount CorrectableOtherErrorCount UncorrectableOtherErrorCount"
)
_SMART: dict[str, Unit] = {
    "NVMeSMART/CompositeTemperatureCelsius": CELSIUS,
    "NVMeSMART/TemperatureSensorsCelsius[]": CELSIUS,
    "NVMeSMART/PowerOnHours": HOURS,
    **_each(PERCENT, "AvailableSparePercent PercentageUsed", "NVMeSMART/"),
    **_each(
        MINUTES,
        "ControllerBusyTimeMinutes WarningCompositeTempTimeMinutes CriticalCompositeTempTimeMinutes",
        "NVMeSMART/",
    ),
    **_each(SECONDS, "ThermalMgmtTemp1TotalTimeSeconds ThermalMgmtTemp2TotalTimeSeconds", "NVMeSMART/"),
    **_each(
        COUNT,
        "DataUnitsRead DataUnitsWritten HostReadCommands HostWriteCommands PowerCycles UnsafeShutdowns "
        "MediaAndDataIntegrityErrors NumberOfErrorInformationLogEntries ThermalMgmtTemp1TransitionCount "
        "ThermalMgmtTemp2TransitionCount",
        "NVMeSMART/",
    ),
}


def _cache(below: str) -> dict[str, Unit]:
    return {
        f"{below}CacheMiss": MILLIONS,
        **_each(RATIO, "HitRatio CacheMissesPerInstruction", below),
        f"{below}OccupancyBytes": BYTES,
        f"{below}OccupancyPercent": PERCENT,
    }


_FIBRE_CHANNEL = "RXSequences TXSequences RXExchanges TXExchanges"

NUMBERS: Mapping[str, Table] = {
    "ProcessorMetrics": {
        **_each(PERCENT, "BandwidthPercent KernelPercent UserPercent"),
        **_each(MEGAHERTZ, "AverageFrequencyMHz OperatingSpeedMHz"),
        **_each(CELSIUS, "ThrottlingCelsius TemperatureCelsius"),
        "ConsumedPowerWatt": WATTS,
        "FrequencyRatio": RATIO,
        **_cache("Cache[]/"),
        **_each(BYTES, "LocalMemoryBandwidthBytes RemoteMemoryBandwidthBytes"),
        "CoreMetrics[]/InstructionsPerCycle": RATIO,
        **_each(COUNT, f"UnhaltedCycles MemoryStallCount IOStallCount {_CORE_ERRORS}", "CoreMetrics[]/"),
        **_cache("CoreMetrics[]/CoreCache[]/"),
        "CoreMetrics[]/CStateResidency[]/ResidencyPercent": PERCENT,
        **_each(COUNT, _ECC, "CacheMetricsTotal/CurrentPeriod/"),
        **_each(COUNT, _ECC, "CacheMetricsTotal/LifeTime/"),
        **_each(COUNT, _CORE_ERRORS),
        **_each(DURATION, "PowerLimitThrottleDuration ThermalLimitThrottleDuration"),
        **_PCIE_ERRORS,
    },
    "MemoryMetrics": {
        **{
            f"{period}/{name}": COUNT
            for period in ("CurrentPeriod", "LifeTime")
            for name in (
                *("BlocksRead", "BlocksWritten", *_ECC.split()),
                *("IndeterminateCorrectableErrorCount", "IndeterminateUncorrectableErrorCount"),
            )
        },
        **_each(PERCENT, "RemainingSpareBlockPercentage PredictedMediaLifeLeftPercent", "HealthData/"),
        **_each(PERCENT, "BandwidthPercent CapacityUtilizationPercent"),
        "OperatingSpeedMHz": MEGAHERTZ,
        **_each(COUNT, "CorrectedVolatileErrorCount CorrectedPersistentErrorCount DirtyShutdownCount"),
    },
    "DriveMetrics": {
        **_each(
            COUNT,
            "CorrectableIOReadErrorCount CorrectableIOWriteErrorCount UncorrectableIOReadErrorCount "
            "UncorrectableIOWriteErrorCount BadBlockCount NativeCommandQueueDepth",
        ),
        "PowerOnHours": HOURS,
        **_each(KIBIBYTES, "ReadIOKiBytes WriteIOKiBytes"),
        **_SMART,
    },
    "StorageControllerMetrics": {
        **_each(COUNT, f"{_ECC} CorrectableParityErrorCount UncorrectableParityErrorCount StateChangeCount"),
        **_SMART,
    },
    "StorageMetrics": {
        **_each(BYTES, "CompressionSavingsBytes DeduplicationSavingsBytes ThinProvisioningSavingsBytes"),
        "StateChangeCount": COUNT,
    },
    "PortMetrics": {
        **_each(
            COUNT,
            "PacketCRCErrors EndToEndCRCErrors RXStompedECRC TXStompedECRC NonCRCTransientErrors LLRRecovery MarkedECN "
            "PacketDeadlineDiscards AccessKeyViolations LinkNTE ReceivedECN",
            "GenZ/",
        ),
        **_each(BYTES, "RXBytes TXBytes"),
        **_each(COUNT, "RXErrors TXErrors"),
        **_each(
            COUNT,
            "RXFrames RXUnicastFrames RXMulticastFrames RXBroadcastFrames TXFrames TXUnicastFrames TXMulticastFrames "
            "TXBroadcastFrames RXDiscards RXFrameAlignmentErrors RXFCSErrors RXFalseCarrierErrors RXOversizeFrames "
            "RXUndersizeFrames TXDiscards TXExcessiveCollisions TXLateCollisions TXMultipleCollisions "
            "TXSingleCollisions RXPFCFrames TXPFCFrames RXPauseXOFFFrames RXPauseXONFrames TXPauseXOFFFrames "
            "TXPauseXONFrames RDMARXRequests RDMAProtectionErrors RDMAProtocolErrors RDMATXRequests "
            "RDMATXReadRequests RDMATXSendRequests RDMATXWriteRequests",
            "Networking/",
        ),
        **_each(BYTES, "RDMARXBytes RDMATXBytes", "Networking/"),
        **{
            f"Transceivers[]/{lane}{name}": unit
            for lane in ("", "ByLane[]/")
            for name, unit in (
                ("RXInputPowerMilliWatts", MILLIWATTS),
                ("TXBiasCurrentMilliAmps", MILLIAMPERES),
                ("TXOutputPowerMilliWatts", MILLIWATTS),
            )
        },
        "Transceivers[]/SupplyVoltage": VOLTS,
        **_each(
            COUNT,
            "InvalidDwordCount RunningDisparityErrorCount LossOfDwordSynchronizationCount PhyResetProblemCount",
            "SAS[]/",
        ),
        **_each(
            COUNT,
            f"InvalidCRCs LinkFailures LossesOfSignal LossesOfSync InvalidTXWords CorrectableFECErrors "
            f"UncorrectableFECErrors {_FIBRE_CHANNEL} RXBBCreditZero TXBBCreditZero TXBBCredits",
            "FibreChannel/",
        ),
        "FibreChannel/TXBBCreditZeroDurationMilliseconds": MILLISECONDS,
        "CXL/BackpressureAveragePercentage": PERCENT,
        **_PCIE_ERRORS,
        **_each(
            COUNT,
            "OutboundReadTLPCount OutboundWriteTLPCount OutboundCompletionTLPCount TagUnavailabilityDrops "
            "CompletionCreditExhaustionDrops NPCreditExhaustionDrops",
            "PCIeMetrics/",
        ),
        **_each(BYTES, "OutboundReadTLPBytes OutboundWriteTLPBytes OutboundCompletionTLPBytes", "PCIeMetrics/"),
    },
    "NetworkAdapterMetrics": {
        **_each(PERCENT, "HostBusRXPercent HostBusTXPercent CPUCorePercent"),
        **_each(BYTES, "NCSIRXBytes NCSITXBytes RXBytes TXBytes"),
        **_each(COUNT, "NCSIRXFrames NCSITXFrames RXMulticastFrames RXUnicastFrames TXMulticastFrames TXUnicastFrames"),
    },
    "NetworkDeviceFunctionMetrics": {
        **_each(COUNT, "NumOffloadedIPv4Conns NumOffloadedIPv6Conns", "Ethernet/"),
        **_each(PERCENT, "TXAvgQueueDepthPercent RXAvgQueueDepthPercent"),
        **_each(BYTES, "RXBytes TXBytes"),
        **_each(
            COUNT,
            "RXFrames RXUnicastFrames RXMulticastFrames TXFrames TXUnicastFrames TXMulticastFrames TXQueuesFull "
            "RXQueuesFull",
        ),
        **_each(
            COUNT,
            f"{_FIBRE_CHANNEL} PortLoginRequests PortLoginAccepts PortLoginRejects RXPeerCongestionFPINs "
            "TXPeerCongestionFPINs RXCongestionFPINs TXCongestionFPINs RXLinkIntegrityFPINs TXLinkIntegrityFPINs "
            "RXDeliveryFPINs TXDeliveryFPINs",
            "FibreChannel/",
        ),
    },
    "SwitchMetrics": {
        **_each(COUNT, _ECC, "InternalMemoryMetrics/CurrentPeriod/"),
        **_each(COUNT, _ECC, "InternalMemoryMetrics/LifeTime/"),
        **_PCIE_ERRORS,
    },
    "BatteryMetrics": {"DischargeCycles": COUNT, **_each(RATIO, "CRate ERate")},
    "ThermalMetrics": _each(
        SECONDS, "TotalPrePowerOnHeatingTimeSeconds TotalRuntimeHeatingTimeSeconds", "HeaterSummary/"
    ),
    "HeaterMetrics": _each(SECONDS, "PrePowerOnHeatingTimeSeconds RuntimeHeatingTimeSeconds"),
    # Resources that are no metrics, of whose numbers a few are measured or counted
    "Drive": {"PredictedMediaLifeLeftPercent": PERCENT},
    "Pump": {"ServiceHours": HOURS},
    "Filter": {"ServiceHours": HOURS},
    "CoolingLoop": {"Coolant/ServiceHours": HOURS, "Coolant/AdditivePercent": PERCENT},
}
"""Type of a resource -> steps to a property, arrays marked ``[]`` -> quantity and UCUM code, by name and description.

``Measures.Unit`` of the schemas says the code where it is told at all; ``By`` and its powers where the name ends so.
"""

NO_READINGS: Mapping[str, str] = {
    "BlockSizeBytes": "a size, set once",
    "LaneId": "a number by which a lane is known",
    "AvailableSpareThresholdPercent": "a limit, not a measurement",
}
"""Numbers of the ``…Metrics`` schemas that are no readings, by property, and why."""

SUCCESSORS: Mapping[tuple[str, str], str] = {
    ("ProcessorMetrics", "TemperatureCelsius"): "TemperatureCelsius",
    ("ProcessorMetrics", "ConsumedPowerWatt"): "PowerWatts",
}
"""Deprecated plain number -> the excerpt in EnvironmentMetrics of the same part that took its place."""

COMPANIONS: Mapping[str, tuple[Unit | None, str, str]] = {
    "SpeedRPM": ((Quantity.ROTATION, "{rev}/min"), "rotational speed", "speed"),
    "ApparentVA": ((Quantity.APPARENT_POWER, "V.A"), "apparent power", "power"),
    "ReactiveVAR": ((Quantity.REACTIVE_POWER, "V.A{reactive}"), "reactive power", "power"),
    "PowerFactor": ((Quantity.POWER_FACTOR, "1"), "power factor", "power"),
    "PhaseAngleDegrees": ((Quantity.OTHER, "deg"), "phase angle", "power"),
    "LoadPercent": ((Quantity.LOAD_RATIO, "%"), "load", "power"),
    "LifetimeReading": (None, "lifetime energy", "energy"),
    "ApparentkVAh": ((Quantity.OTHER, "kV.A.h"), "apparent energy", "energy"),
    "ReactivekVARh": ((Quantity.OTHER, "kV.A{reactive}.h"), "reactive energy", "energy"),
    "CrestFactor": (RATIO, "crest factor", ""),
    "THDPercent": (PERCENT, "harmonic distortion", ""),
}
"""Numbers beside Reading in a Sensor and in its excerpts that are readings of their own -> unit (None: the
sensor's own), words, and the word of the sensor's name that these take the place of.

Peak, lowest and average readings stand there too: they say what was, history and queries say it better, and so they are
not read. PowerFactor is told as a ratio by all published examples, in hundredths by the schema's words: see
:func:`power_factor`.
"""


class Plain(Struct, frozen=True):
    """One plain number in a body."""

    steps: tuple[str | int, ...]
    """To the object that holds it."""
    key: str
    index: int | None
    """In the array that the property is."""
    unit: Unit


def plain_numbers(type_: str, body: Body, limit: int) -> Iterator[Plain]:
    """The readings that a body tells as plain numbers, null or not; at most ``limit`` rows of one array."""
    for path, unit in NUMBERS.get(type_, {}).items():
        yield from _find((), body, path.split("/"), unit, limit)


def _find(steps: tuple[str | int, ...], body: object, path: list[str], unit: Unit, limit: int) -> Iterator[Plain]:
    if not isinstance(body, dict):
        return
    name = path[0].removesuffix("[]")
    if name not in body:
        return
    below = body[name]
    if len(path) == 1 and not path[0].endswith("[]"):
        yield Plain(steps, name, None, unit)
    elif len(path) == 1:
        for index in range(min(len(below), limit) if isinstance(below, list) else 0):
            yield Plain(steps, name, index, unit)
    elif not path[0].endswith("[]"):
        yield from _find((*steps, name), below, path[1:], unit, limit)
    else:
        for index, row in enumerate(below[:limit] if isinstance(below, list) else ()):
            yield from _find((*steps, name, index), row, path[1:], unit, limit)


def power_factor(told: float | None) -> float:
    """The factor that makes a told PowerFactor a ratio: 1, or 0.01 where it can only be in hundredths."""
    return 0.01 if told is not None and abs(told) > 1.0 else 1.0
