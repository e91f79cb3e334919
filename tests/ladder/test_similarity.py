"""What is alike: names, comments and orders don't matter; what everybody writes weighs nothing."""

from server.ladder.program import Program
from server.ladder.similarity import reduced_rungs, similar_pairs
from server.ladder.text_form import parse_program


def program(*rungs: str, bit: str = "ready", pump: str = "fill_pump") -> Program:
    return parse_program(
        f"PROGRAM p\nVAR\n start AT %IX0.0 : BOOL;\n stop AT %IX0.1 : BOOL;\n"
        f" {pump} AT %QX0.0 : BOOL;\n {bit} : BOOL;\n t : TON;\nEND_VAR\n\n"
        + "\n\n".join(rungs).replace("PUMP", pump).replace("BIT", bit)
        + "\nEND_PROGRAM\n"
    )


FORCED = "// The seal-in.\nPUMP := (start OR PUMP) AND stop;"
ODD = "// Odd.\nBIT := (stop OR start AND NOT PUMP) AND t(PT := T#7s);"
OTHER = "BIT := NOT start;"


def test_names_comments_and_orders_do_not_matter() -> None:
    one = program(FORCED, ODD)
    other = program(
        "// Mine.\nBIT := (start AND NOT PUMP OR stop) AND t(PT := T#7s);",
        "PUMP := (PUMP OR start) AND stop;",
        bit="flag",
        pump="p1",
    )
    assert sorted(reduced_rungs(one)) == sorted(reduced_rungs(other))
    changed = program(FORCED, ODD.replace("7s", "8s"))
    assert sorted(reduced_rungs(one)) != sorted(reduced_rungs(changed))


def test_a_rung_that_only_two_have_makes_them_alike() -> None:
    bits = ("NOT start", "start AND stop", "start OR stop")
    others = [program(FORCED, f"BIT := {network};") for network in bits]
    pairs = similar_pairs([program(FORCED, ODD), *others, program(ODD, FORCED)])
    assert [(pair.first, pair.second, pair.similarity) for pair in pairs] == [(0, 4, 1.0)]
    assert set(pairs[0].rungs) == {(0, 1), (1, 0)}


def test_a_program_of_another_class_is_compared_with_the_class_only() -> None:
    plain = [program(FORCED, f"BIT := {network};") for network in ("NOT start", "start AND stop")]
    odd, own, earlier, earliest = program(FORCED, ODD), 0, 1, 2
    # One copy in each of the terms before, and as many as make a common solution within a class.
    programs = [odd, *plain, odd, program(FORCED), odd, odd, odd, odd, odd]
    classes = [own, own, own, earlier, earlier, *[earliest] * 5]
    pairs = similar_pairs(programs, classes)
    assert [(pair.first, pair.second) for pair in pairs] == [(0, 3)]


def test_what_everybody_writes_says_nothing() -> None:
    assert similar_pairs([program(FORCED)] * 3) == ()
    assert similar_pairs([]) == ()


def test_what_more_than_a_few_have_as_a_whole_is_a_common_solution() -> None:
    others = [program(FORCED, f"BIT := {network};") for network in ("NOT start", "start AND stop")]
    odd = program(FORCED, ODD)
    pairs = similar_pairs([odd, odd, odd, *others, *others])
    assert [(pair.first, pair.second, pair.others) for pair in pairs] == [
        (3, 5, 0),
        (4, 6, 0),
        (0, 1, 1),
        (0, 2, 1),
        (1, 2, 1),
    ]
    assert similar_pairs([odd, odd, odd, odd, *others]) == ()
