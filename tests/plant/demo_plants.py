"""Two plants of the demo world with every kind of part, and their points."""

from server.ladder.elements import ContactKind
from server.ladder.points import PointDeclaration
from server.plant.parts.axis import Axis
from server.plant.parts.belt import Belt
from server.plant.parts.conveyor_line import ConveyorLine
from server.plant.parts.eye import Eye
from server.plant.parts.feeder import Feeder
from server.plant.parts.level_switch import LevelSwitch
from server.plant.parts.level_transmitter import LevelTransmitter
from server.plant.parts.outlet import Outlet
from server.plant.parts.position_switch import PositionSwitch
from server.plant.parts.pusher import Pusher
from server.plant.parts.stop import Stop
from server.plant.parts.stream import Drawn, Stream
from server.plant.parts.vessel import Vessel
from server.plant.plant import Plant

OPEN, CLOSED = ContactKind.OPEN, ContactKind.CLOSED

SUMP = Plant(
    vessels=(
        Vessel("sump", 0.6, 1.2, 0.5, label="Apple wash sump"),
        Vessel("buffer", 0.3, 0.8, 0.3, label="Juice buffer tank"),
    ),
    streams=(
        Stream("fill", "P-201", 0.002, None, "sump", "fill_pump", label="fill"),
        Stream("supply", "XV-203", 0.0001, None, "sump", drawn=Drawn.VALVE, label="Town water"),
        Stream("transfer", "P-202", 0.001, "sump", "buffer", "transfer_pump", label="transfer"),
    ),
    outlets=(Outlet("drain", "LV-204", "buffer", 0.02, actuator="drain_valve", label="drain"),),
    level_switches=(
        LevelSwitch("LSL-201", "sump", 0.25),
        LevelSwitch("LSH-201", "sump", 0.95),
        LevelSwitch("LSHH-202", "sump", 1.0),
        LevelSwitch("LSH-204", "buffer", 0.6),
    ),
    level_transmitters=(LevelTransmitter("LT-201", "sump"),),
)

SUMP_POINTS = (
    PointDeclaration("start_pb", "%IX0.0", "HS-201", "Start", OPEN, 0, "push-button"),
    PointDeclaration("stop_pb", "%IX0.1", "HS-202", "Stop", CLOSED, 1, "push-button"),
    PointDeclaration("estop", "%IX0.2", "HS-200", "Emergency stop", CLOSED, 1, "emergency stop"),
    PointDeclaration("in_auto", "%IX0.3", "HS-210", "Automatic", OPEN, 0, "selector switch"),
    PointDeclaration("sump_low", "%IX0.4", "LSL-201", "Low", OPEN, None, "level switch"),
    PointDeclaration("sump_high", "%IX0.5", "LSH-201", "High", OPEN, None, "level switch"),
    PointDeclaration("sump_full", "%IX0.6", "LSHH-202", "Full", CLOSED, None, "level switch"),
    PointDeclaration("buffer_high", "%IX0.7", "LSH-204", "High", OPEN, None, "level switch"),
    PointDeclaration("sump_level", "%IW0", "LT-201", "Level", None, None, "level transmitter"),
    PointDeclaration("fill_pump", "%QX0.0", "P-201", "Fill pump", None, 0, "contactor"),
    PointDeclaration("transfer_pump", "%QX0.1", "P-202", "Transfer pump", None, 0, "contactor"),
    PointDeclaration("drain_valve", "%QX0.2", "LV-204", "Drain", None, 0, "solenoid valve"),
    PointDeclaration("ready_lamp", "%QX0.3", "YL-205", "Ready", None, 0, "lamp"),
    PointDeclaration("horn", "%QX0.4", "YA-206", "Horn", None, 0, "horn"),
)

BOTTLES = Plant(
    line=ConveyorLine("bottles", 0.2, item="bottle", mark="short fill"),
    belts=(
        Belt("infeed", "M-301", 1.2, 0.25, "infeed_motor", label="infeed"),
        Belt("outfeed", "M-302", 1.8, 0.25, "outfeed_motor", run_up=0.3, label="outfeed"),
    ),
    feeder=Feeder(2.0, 3),
    eyes=(Eye("YS-301", 0.5), Eye("YS-302", 0.5, True), Eye("YS-303", 2.4)),
    stops=(Stop("gate", "YV-305", 1.1, "gate_valve", label="gate"),),
    pushers=(Pusher("reject", "YV-304", 1.8, "reject_valve", label="reject"),),
    axes=(
        Axis("lift", "lift_up", "lift_down", seconds_forward=4, seconds_back=5, label="Case lift"),
    ),
    position_switches=(
        PositionSwitch("ZS-306", "lift", 0),
        PositionSwitch("ZS-307", "lift", 50),
        PositionSwitch("ZS-308", "lift", 100),
    ),
)

BOTTLE_POINTS = (
    PointDeclaration("start_pb", "%IX0.0", "HS-301", "Start", OPEN, 0, "push-button"),
    PointDeclaration("stop_pb", "%IX0.1", "HS-302", "Stop", CLOSED, 1, "push-button"),
    PointDeclaration("bottle_seen", "%IX0.2", "YS-301", "Bottle", OPEN, None, "photo-eye"),
    PointDeclaration("short_fill", "%IX0.3", "YS-302", "Short fill", OPEN, None, "photo-eye"),
    PointDeclaration("bottle_leaves", "%IX0.4", "YS-303", "Leaving", CLOSED, None, "photo-eye"),
    PointDeclaration("lift_is_down", "%IX0.5", "ZS-306", "Down", OPEN, None, "position switch"),
    PointDeclaration("lift_is_up", "%IX0.6", "ZS-308", "Up", OPEN, None, "position switch"),
    PointDeclaration("infeed_motor", "%QX0.0", "M-301", "Infeed", None, 0, "contactor"),
    PointDeclaration("outfeed_motor", "%QX0.1", "M-302", "Outfeed", None, 0, "contactor"),
    PointDeclaration("gate_valve", "%QX0.2", "YV-305", "Gate", None, 0, "solenoid valve"),
    PointDeclaration("reject_valve", "%QX0.3", "YV-304", "Reject", None, 0, "solenoid valve"),
    PointDeclaration("lift_up", "%QX0.4", "M-306", "Lift up", None, 0, "contactor"),
    PointDeclaration("lift_down", "%QX0.5", "M-307", "Lift down", None, 0, "contactor"),
    PointDeclaration("run_lamp", "%QX0.6", "YL-305", "Running", None, 0, "lamp"),
)
