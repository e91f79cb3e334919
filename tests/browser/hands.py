"""The same ten rungs built by three hands: keyboard, pointer and finger.

A hand knows how one does a step; what is done is the same for all of them. The bits that the
exercise does not declare are declared where they are first named.
"""

from abc import ABC, abstractmethod
from dataclasses import dataclass

from playwright.sync_api import CDPSession, Locator, Page, expect

Part = tuple[float, float]
"""Across and down an element, from 0 to 1."""

FOOT, EDGE = 780, 880
"""In a window 900 high: what can be seen well, and where the sheet moves along with a drag."""

POINTS = ("start_pb", "stop_pb", "sump_high", "fill_pump", "lamp", "filling")
"""What the exercise declares, in its order."""


@dataclass(frozen=True, slots=True)
class Step:
    """One element or output: its kind is a command's id.

    ``text`` is a symbol, or what stands in the field of a block; ``where`` is after or parallel;
    ``at_end`` puts it behind everything else, ``around`` in parallel with the last two elements,
    ``left`` moves it one place to the left. What is ``dragged`` comes from the table of points or
    from the bench, for whoever can drag.
    """

    kind: str
    text: str
    where: str = "after"
    at_end: bool = False
    around: bool = False
    left: bool = False
    dragged: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """A rung: its comment, the requirements it serves, and the steps that build it."""

    comment: str
    serves: tuple[str, ...]
    steps: tuple[Step, ...]
    text: str


LINES = (
    Line(
        "Start asks for filling, stop ends it.",
        ("R1", "R2a"),
        (
            Step("open", "start_pb"),
            Step("open", "filling", "parallel"),
            Step("open", "stop_pb", at_end=True, dragged=True),
            Step("coil", "filling"),
        ),
        "filling := (start_pb OR filling) AND stop_pb;",
    ),
    Line(
        "The pump runs until the sump is full.",
        ("R2b",),
        (
            Step("closed", "sump_high"),
            Step("open", "filling", left=True),
            Step("coil", "fill_pump"),
        ),
        "fill_pump := filling AND NOT sump_high;",
    ),
    Line(
        "Full and calm.",
        (),
        (Step("open", "sump_high"), Step("block", "TON"), Step("coil", "calm")),
        "calm := sump_high AND delay_1(PT := T#1s);",
    ),
    Line(
        "The lamp shows it.",
        ("R3",),
        (
            Step("open", "calm"),
            Step("open", "held", "parallel", dragged=True),
            Step("coil", "lamp"),
        ),
        "lamp := calm OR held;",
    ),
    Line(
        "A fill ends.",
        (),
        (Step("falling", "fill_pump"), Step("coil", "ended")),
        "ended := FALLING(fill_pump);",
    ),
    Line(
        "Counts fills.",
        (),
        (Step("open", "ended"), Step("block", "CTU"), Step("coil", "many")),
        "many := ended AND count_1(PV := 1);",
    ),
    Line(
        "Held from then on.",
        (),
        (Step("open", "many"), Step("set", "held")),
        "IF many THEN held := TRUE; END_IF;",
    ),
    Line(
        "Stop lets go.",
        (),
        (Step("closed", "stop_pb"), Step("reset", "held")),
        "IF NOT stop_pb THEN held := FALSE; END_IF;",
    ),
    Line(
        "Nothing is asked for.",
        (),
        (
            Step("closed", "filling"),
            Step("closed", "sump_high"),
            Step("open", "lamp", "parallel"),
            Step("coil", "idle"),
        ),
        "idle := NOT filling AND (NOT sump_high OR lamp);",
    ),
    Line(
        "Somebody should look.",
        (),
        (
            Step("open", "held"),
            Step("open", "many"),
            Step("open", "idle", around=True),
            Step("open", "lamp"),
            Step("coil", "look"),
        ),
        "look := held AND many OR idle AND lamp;",
    ),
)


class Hand(ABC):
    """Builds rungs on an open exercise sheet."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.named = list(POINTS)

    def build(self) -> None:
        """All ten rungs; each must be drawn and saved before the next is begun."""
        for number, line in enumerate(LINES):
            self.rung(number)
            for step in line.steps:
                self.step(number, step)
                if step.kind in ("coil", "open") and step.text not in self.named:
                    self.named.append(step.text)
            self.comment(line)
            row = self.page.locator(f"#rung-{number}")
            expect(row).to_have_attribute("data-text", printed(line))
            expect(row.locator(".error")).to_have_count(0)

    @abstractmethod
    def rung(self, number: int) -> None:
        """A new rung below the others."""

    @abstractmethod
    def step(self, number: int, step: Step) -> None:
        """One element or output."""

    @abstractmethod
    def comment(self, line: Line) -> None:
        """Comment and requirements of the rung."""


def printed(line: Line) -> str:
    """The rung as the text form prints it."""
    serves = f"[{', '.join(line.serves)}] " if line.serves else ""
    return f"// {serves}{line.comment}\n{line.text}"


class Keyboard(Hand):
    """Keys alone; ``keys`` counts each of them, a letter or a chord as one."""

    keys = 0

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)
        self.keys += len(keys)

    def type(self, text: str) -> None:
        self.page.keyboard.type(text)
        self.keys += len(text)

    def rung(self, number: int) -> None:
        self.press("l" if number else "Enter")

    def step(self, number: int, step: Step) -> None:
        if step.at_end:
            self.press("Home")
        if step.around:
            self.press("ArrowLeft", "m", "ArrowRight")
        if step.where == "parallel" or step.around:
            self.press("Shift+ArrowDown")
        else:
            self.press(KEYS[step.kind])
        if step.kind == "block":
            # The field has a free name and a preset; the kind is one letter in its list.
            if step.text == "CTU":
                self.press("Shift+Tab", "C")
        elif step.text in self.named:
            self.type(self.shortest(step.text))
            self.press("Tab")
        else:
            self.type(step.text)
            self.press("ArrowUp")
        self.press("Enter")
        if step.left:
            self.press("Control+ArrowLeft")

    def shortest(self, symbol: str) -> str:
        """As many letters as bring the symbol to the top of the list."""
        for length in range(1, len(symbol)):
            start = symbol[:length]
            if next(each for each in self.named if each.startswith(start)) == symbol:
                return start
        return symbol

    def comment(self, line: Line) -> None:
        self.press("c")
        self.type(line.comment)
        boxes = [("R1", "R2a", "R2b", "R3").index(each) for each in line.serves]
        for box in range(max(boxes, default=-1) + 1):
            self.press("Tab")
            if box in boxes:
                self.press("Space")
        self.press("Control+Enter")


KEYS = {
    "open": "n",
    "closed": "Shift+n",
    "falling": "Shift+e",
    "block": "b",
    "coil": "q",
    "set": "s",
    "reset": "Shift+s",
}


class Pointer(Hand):
    """A mouse alone; text is typed only for comments and new names."""

    def tap(self, target: Locator) -> None:
        target.click()

    def rung(self, number: int) -> None:
        self.tap(self.page.get_by_role("button", name="Add a rung"))
        expect(self.page.locator(f"#rung-{number} .rung-head")).to_be_visible()

    def step(self, number: int, step: Step) -> None:
        rung, page = self.page.locator(f"#rung-{number}"), self.page
        if step.dragged and step.at_end:
            point = page.locator("#points tr", has_text=step.text).locator("code").first
            self.drag(point, rung.locator("svg.rung"), (0.5, 0.9))
        else:
            if step.dragged:
                tool = page.locator(f".bench [data-command='{step.kind}']")
                self.drag(tool, rung.locator(".selected .cell"), (0.5, 0.8))
            else:
                self.ask(rung, step)
            self.choose(step)
            self.tap(page.get_by_role("button", name="Place", exact=True))
            expect(page.locator("#entry")).to_be_hidden()
        expect(rung.locator(f".selected[data-text*='{self.told(step)}']")).to_be_visible()
        if step.left:
            self.drag(rung.locator("[data-path='1']"), rung.locator("[data-path='0']"), (0.2, 0.5))

    def ask(self, rung: Locator, step: Step) -> None:
        """Choose the place and the element, without dragging."""
        page = self.page
        if step.at_end:
            self.tap(rung.locator(".rung-head .number"))
        if step.around:
            self.tap(rung.locator("[data-path='0']"))
            self.tap(page.get_by_role("button", name="Commands"))
            self.tap(page.get_by_role("option", name="Mark one end"))
            self.tap(rung.locator("[data-path='1']"))
        where = "parallel" if step.around else step.where
        if step.kind not in ("coil", "set", "reset"):
            self.tap(page.locator(f".places label:has([value={where}])"))
        self.tap(page.locator(f".bench [data-command='{step.kind}']"))

    def told(self, step: Step) -> str:
        return {"TON": "delay_1", "CTU": "count_1"}.get(step.text, step.text)

    def choose(self, step: Step) -> None:
        """What stands in the field: a symbol of the list, a new name, or the kind of a block."""
        page = self.page
        if step.kind == "block":
            page.get_by_label("Block type").select_option(step.text)
            return
        if step.text not in self.named:
            page.keyboard.type(step.text)
        self.tap(page.locator(f"#entry-list [data-symbol='{step.text}']"))

    def comment(self, line: Line) -> None:
        self.tap(self.page.locator(".bench [data-command='comment']"))
        dialog = self.page.get_by_role("dialog", name="Comment and requirements")
        self.tap(dialog.get_by_label("Comment", exact=True))
        self.page.keyboard.type(line.comment)
        for requirement in line.serves:
            self.tap(dialog.get_by_role("checkbox", name=f"{requirement} "))
        self.tap(dialog.get_by_role("button", name="Keep"))

    def drag(self, source: Locator, target: Locator, to: Part) -> None:
        """Hold the source, bring it to a part of the target, let go where a place is shown."""
        begin = at(source, (0.5, 0.5))
        self.hold(*begin)
        self.move(begin[0] - 10, begin[1])
        expect(self.page.locator("html.dragging")).to_be_attached()
        while at(target, to)[1] > FOOT:  # the sheet moves while one waits at its edge
            self.move(begin[0], EDGE)
            self.page.wait_for_timeout(50)
        self.move(*at(target, to))
        self.move(*at(target, to))  # it may have moved once more in between
        expect(self.page.locator(".drop-mark")).to_be_visible()
        self.let_go()

    def hold(self, x: float, y: float) -> None:
        self.page.mouse.move(x, y)
        self.page.mouse.down()

    def move(self, x: float, y: float) -> None:
        self.page.mouse.move(x, y)

    def let_go(self) -> None:
        self.page.mouse.up()


class Finger(Pointer):
    """A finger alone: it taps, and drags after a short rest."""

    def __init__(self, page: Page) -> None:
        super().__init__(page)
        self.touch: CDPSession = page.context.new_cdp_session(page)

    def tap(self, target: Locator) -> None:
        target.tap()

    def hold(self, x: float, y: float) -> None:
        self.finger("touchStart", x, y)
        self.page.wait_for_selector("html.dragging")

    def move(self, x: float, y: float) -> None:
        self.finger("touchMove", x, y)

    def let_go(self) -> None:
        self.finger("touchEnd")

    def finger(self, kind: str, *place: float) -> None:
        points = [{"x": place[0], "y": place[1]}] if place else []
        self.touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})


def at(target: Locator, part: Part) -> tuple[float, float]:
    """A part of an element's box, in the window; the sheet is scrolled unless it is being held."""
    if not target.page.locator("html.dragging").count():
        target.scroll_into_view_if_needed()
    box = target.bounding_box()
    assert box is not None, "the element is drawn"
    return box["x"] + part[0] * box["width"], box["y"] + part[1] * box["height"]
