"""Texts as IEC 61131-3 writes them (forms from memory), each with the rungs one would draw.

The names are invented; every text stands below DECLARATIONS.
"""

from server.ladder.names import listed
from server.ladder.text_functions import FUNCTIONS

DECLARATIONS = """PROGRAM wash
VAR
    a AT %IX0.0 : BOOL;
    b AT %IX0.1 : BOOL;
    c, d : BOOL;
    lamp AT %QX0.0 : BOOL;
    horn AT %QX0.1 : BOOL;
    level AT %IW2 : INT;
    n, m, k : INT;
    delay : TON;
    count : CTU;
    down : CTD;
    both : CTUD;
    latch : SR;
    hold : RS;
    press : R_TRIG;
END_VAR
VAR CONSTANT
    full : INT := 500;
    soak : TIME := T#5s;
END_VAR
"""

GOOD: dict[str, tuple[str, str]] = {
    # Expressions.
    "a contact and a coil": ("lamp := a;", "lamp := a;"),
    "case and spaces": ("LAMP:=A and Not B;", "lamp := a AND NOT b;"),
    "the ampersand": ("lamp := a & b;", "lamp := a AND b;"),
    "NOT of a parallel": ("lamp := NOT (a OR b);", "lamp := NOT a AND NOT b;"),
    "NOT of a series": ("lamp := NOT (a AND NOT b);", "lamp := NOT a OR b;"),
    "NOT as a function": ("lamp := NOT(a);", "lamp := NOT a;"),
    "NOT of NOT": ("lamp := NOT (NOT a);", "lamp := a;"),
    "NOT of a comparison": ("lamp := NOT (n > 3);", "lamp := n <= 3;"),
    "XOR": ("lamp := a XOR b;", "lamp := a AND NOT b OR NOT a AND b;"),
    "NOT XOR": (
        "lamp := NOT (a XOR b);",
        "lamp := (NOT a OR b) AND (a OR NOT b);",
    ),
    "XOR between OR and AND": (
        "lamp := a OR b XOR c AND d;",
        "lamp := a OR b AND (NOT c OR NOT d) OR NOT b AND c AND d;",
    ),
    "XOR of three": (
        "lamp := a XOR b XOR c;",
        "lamp := (a AND NOT b OR NOT a AND b) AND NOT c OR (NOT a OR b) AND (a OR NOT b) AND c;",
    ),
    "AND as a function": ("lamp := AND(a, b, c);", "lamp := a AND b AND c;"),
    "OR as a function": ("lamp := OR(a, NOT b) AND c;", "lamp := (a OR NOT b) AND c;"),
    "XOR as a function": ("lamp := XOR(a, b);", "lamp := a AND NOT b OR NOT a AND b;"),
    "a BOOL that is TRUE": ("lamp := a = TRUE;", "lamp := a;"),
    "a BOOL that is not TRUE": ("lamp := a <> TRUE AND b;", "lamp := NOT a AND b;"),
    "a BOOL that is FALSE": ("lamp := (a OR b) = FALSE;", "lamp := NOT a AND NOT b;"),
    "networks that are the same": (
        "lamp := (a AND b) = (c);",
        "lamp := (NOT a OR NOT b OR c) AND (a AND b OR NOT c);",
    ),
    "a comparison as a function": ("lamp := GE(level, 500);", "lamp := level >= 500;"),
    "comparisons joined": (
        "lamp := level >= 100 AND level < full;",
        "lamp := level >= 100 AND level < full;",
    ),
    "always on": ("lamp := TRUE;", "lamp := TRUE;"),
    "always off": ("lamp := FALSE;", "NOT lamp := TRUE;"),
    "a typed BOOL": ("lamp := BOOL#1;", "lamp := TRUE;"),
    "a BOOL as a digit": ("lamp := 0;", "NOT lamp := TRUE;"),
    # Numbers.
    "a number moved": ("n := 5;", "IF TRUE THEN n := 5; END_IF;"),
    "a variable moved": ("n := level;", "IF TRUE THEN n := level; END_IF;"),
    "MOVE": ("n := MOVE(level);", "IF TRUE THEN n := level; END_IF;"),
    "a block's number": ("n := count.CV;", "IF TRUE THEN n := count.CV; END_IF;"),
    "hexadecimal": ("n := 16#FF;", "IF TRUE THEN n := 16#00FF; END_IF;"),
    "octal and binary": (
        "n := 8#17 + 2#1111_0000;",
        "IF TRUE THEN n := 8#17 + 2#11110000; END_IF;",
    ),
    "typed": ("n := INT#-5 * INT#16#10;", "IF TRUE THEN n := -5 * 16#0010; END_IF;"),
    "thousands apart": ("n := 10_000;", "IF TRUE THEN n := 10000; END_IF;"),
    "a sum of three": (
        "n := m + k - 3;",
        "IF TRUE THEN n := m + k - 3; END_IF;",
    ),
    "a product first": (
        "n := m + k * 2;",
        "IF TRUE THEN n := m + k * 2; END_IF;",
    ),
    "itself in several places": (
        "n := (n + 1) * (n - 1);",
        "IF TRUE THEN n := (n + 1) * (n - 1); END_IF;",
    ),
    "needless parentheses": (
        "n := ((m * 2) + (k * 3));",
        "IF TRUE THEN n := m * 2 + k * 3; END_IF;",
    ),
    "functions in functions": (
        "n := MAX(m + 1, LIMIT(0, k MOD 7, 5));",
        "IF TRUE THEN n := MAX(m + 1, LIMIT(0, k MOD 7, 5)); END_IF;",
    ),
    "parentheses in a sum": (
        "n := 100 - (m - k);",
        "IF TRUE THEN n := 100 - (m - k); END_IF;",
    ),
    "the opposite number": ("n := -m;", "IF TRUE THEN n := 0 - m; END_IF;"),
    "ADD as a function": (
        "n := ADD(m, k, 1);",
        "IF TRUE THEN n := m + k + 1; END_IF;",
    ),
    # Calls.
    "a timer": (
        "delay(IN := a, PT := T#5s);",
        "a AND delay(PT := T#5s);",
    ),
    "a timer of a network": (
        "delay(IN := a OR NOT b, PT := TIME#1m_30s);",
        "(a OR NOT b) AND delay(PT := T#1m30s);",
    ),
    "a timer with a lamp": (
        "delay(IN := a, PT := T#2.5s, Q => lamp);",
        "lamp := a AND delay(PT := T#2s500ms);",
    ),
    "inputs in another order": (
        "delay(PT := t#1500ms, IN := NOT a);",
        "NOT a AND delay(PT := T#1s500ms);",
    ),
    "a timer with a constant": (
        "delay(IN := a, PT := soak);",
        "a AND delay(PT := T#5s);",
    ),
    "a counter": (
        "count(CU := a, R := b, PV := INT#5, Q => lamp, CV => n);",
        "lamp := a AND count(R := b, PV := 5); IF TRUE THEN n := count.CV; END_IF;",
    ),
    "a counter down": (
        "down(CD := a, LD := NOT b, PV := full);",
        "a AND down(LD := NOT b, PV := 500);",
    ),
    "a counter both ways": (
        "both(CU := a, CD := b, R := c, LD := d, PV := 9, QU => lamp, QD => horn);",
        "lamp := a AND both(CD := b, R := c, LD := d, PV := 9); horn := both.QD;",
    ),
    "a negated output": (
        "delay(IN := a, PT := T#1s, NOT Q => lamp);",
        "NOT lamp := a AND delay(PT := T#1s);",
    ),
    "a bistable": (
        "latch(S1 := a, R := b, Q1 => lamp);",
        "lamp := a AND latch(R := b);",
    ),
    "a bistable, reset dominant": ("hold(S := a, R1 := b);", "a AND hold(R1 := b);"),
    "an edge detector": ("press(CLK := a AND b);", "a AND b AND press();"),
    # IF.
    "set": ("IF a THEN lamp := TRUE; END_IF;", "IF a THEN lamp := TRUE; END_IF;"),
    "one of two": (
        "IF a THEN lamp := TRUE; ELSE lamp := FALSE; END_IF;",
        "lamp := a;",
    ),
    "a toggle": ("IF c THEN c := FALSE; ELSE c := TRUE; END_IF;", "c := NOT c;"),
    "chosen": (
        "IF a THEN lamp := b; ELSE lamp := c; END_IF;",
        "lamp := a AND b OR NOT a AND c;",
    ),
    "two coils": (
        "IF a AND b THEN lamp := TRUE; horn := FALSE; ELSE lamp := FALSE; horn := TRUE; END_IF;",
        "lamp := a AND b; horn := NOT a OR NOT b;",
    ),
    "three branches": (
        "IF a THEN lamp := TRUE; ELSIF b THEN lamp := FALSE; ELSE lamp := c; END_IF;",
        "lamp := a OR NOT b AND c;",
    ),
    "start and stop": (
        "IF a THEN lamp := TRUE; ELSIF b THEN lamp := FALSE; END_IF;",
        "IF a THEN lamp := TRUE; END_IF; IF NOT a AND b THEN lamp := FALSE; END_IF;",
    ),
    "numbers by branch": (
        "IF a THEN n := 1; ELSIF b THEN n := 2; ELSE n := 3; END_IF;",
        "IF a THEN n := 1; END_IF; IF NOT a AND b THEN n := 2; END_IF; "
        "IF NOT a AND NOT b THEN n := 3; END_IF;",
    ),
    "a state taken over": (
        "IF a THEN lamp := b; END_IF;",
        "IF a AND b THEN lamp := TRUE; END_IF; IF a AND NOT b THEN lamp := FALSE; END_IF;",
    ),
    "its own opposite": (
        "IF a THEN c := NOT c; END_IF;",
        "c := a AND NOT c OR NOT a AND c;",
    ),
    "IF in IF": (
        "IF a THEN IF b THEN lamp := TRUE; END_IF; horn := FALSE; END_IF;",
        "IF a AND b THEN lamp := TRUE; END_IF; IF a THEN horn := FALSE; END_IF;",
    ),
    "several steps under a condition": (
        "IF a THEN n := m + k + 1; m := n; END_IF;",
        "IF a THEN n := m + k + 1; m := n; END_IF;",
    ),
    "an edge as a condition": (
        "IF RISING(a) THEN lamp := b; END_IF;",
        "IF RISING(a) AND b THEN lamp := TRUE; END_IF; "
        "IF RISING(a) AND NOT b THEN lamp := FALSE; END_IF;",
    ),
    # Addresses, comments, empty statements.
    "direct addresses": ("%QX0.0 := %IX0.0 AND NOT %I0.1;", "lamp := a AND NOT b;"),
    "an address without a symbol": ("%QX1.0 := %IX4.5;", "qx1_0 := ix4_5;"),
    "a number at an address": ("n := %IW2 + %IW4;", "IF TRUE THEN n := level + iw4; END_IF;"),
    "a comment with one in it": (
        "(* Pump (* old: b *) runs. *) lamp := a;",
        "// Pump (* old: b *) runs.\nlamp := a;",
    ),
    "a comment with strokes": (
        "/* Pump. */ lamp := a /* by hand */;",
        "// Pump.\n// by hand\nlamp := a;",
    ),
    "an empty statement": (";", ";"),
}

GOOD_DECLARATIONS: dict[str, str] = {
    "start, stop : BOOL;": "start : BOOL; stop : BOOL;",
    "x : BOOL := BOOL#TRUE;": "x : BOOL := TRUE;",
    "x : BOOL := 1;": "x : BOOL := TRUE;",
    "x, y : INT := 16#7F;": "x : INT := 127; y : INT := 127;",
    "x : INT := -2;": "x : INT := -2;",
    "x : INT := INT#2#101;": "x : INT := 5;",
    "x : TIME := TIME#1h_30m;": "x : TIME := T#1h30m;",
    "x : TIME := T#1_500ms;": "x : TIME := T#1s500ms;",
    "x : TIME := t#2000us;": "x : TIME := T#2ms;",
    "x : TIME := T#0.5d;": "x : TIME := T#12h;",
    "x AT %I3.1 : BOOL;": "x AT %IX3.1 : BOOL;",
    "AT %QW6 : INT;": "qw6 AT %QW6 : INT;",
    "_12v7 : BOOL; _main : BOOL;": "_12v7 : BOOL; _main : BOOL;",
    "rising, left, max, r : BOOL;": "rising : BOOL; left : BOOL; max : BOOL; r : BOOL;",
}

REFUSED: dict[str, tuple[str, str]] = {
    "CASE": (
        "CASE n OF 1: lamp := TRUE; 2..4: lamp := FALSE; END_CASE;",
        "column 1: CASE is no rung. Write an IF for each value: IF n = 1 THEN … END_IF;",
    ),
    "FOR": (
        "FOR n := 1 TO 5 BY 1 DO m := m + n; END_FOR;",
        "column 1: The loop 'FOR' is no rung: a rung is done once a scan. "
        "Count up by one in each scan.",
    ),
    "WHILE": (
        "WHILE a DO n := n + 1; END_WHILE;",
        "column 1: The loop 'WHILE' is no rung: a rung is done once a scan. Write IF instead.",
    ),
    "REPEAT": (
        "REPEAT n := n + 1; UNTIL a END_REPEAT;",
        "column 1: The loop 'REPEAT' is no rung: a rung is done once a scan. Write IF instead.",
    ),
    "EXIT": ("EXIT;", "column 1: EXIT leaves a loop, and there are none. Leave it out."),
    "CONTINUE": ("CONTINUE;", "column 1: CONTINUE is for loops, and there are none. Leave it out."),
    "RETURN": (
        "RETURN;",
        "column 1: RETURN is not drawn here: every rung is done in every scan. "
        "Put the opposite of its condition into the rungs that it would leave out.",
    ),
    "RETURN in IF": (
        "IF a THEN RETURN; END_IF;",
        "column 11: RETURN is not drawn here: every rung is done in every scan. "
        "Put the opposite of its condition into the rungs that it would leave out.",
    ),
    "a jump": (
        "JMP further;",
        "column 1: A jump is not drawn here: every rung is done in every scan. "
        "Put the opposite of its condition into the rungs that it would leave out.",
    ),
    "ELSE alone": ("ELSE;", "column 1: ELSE stands outside of an IF. Write IF … THEN before it."),
    "a real number": (
        "n := 1.5;",
        "column 6: '1.5' has a fraction. Numbers are whole here: scale it, like 15 tenths for 1.5.",
    ),
    "a real number with an exponent": (
        "n := 1.0E3;",
        "column 6: '1.0E3' has a fraction. "
        "Numbers are whole here: scale it, like 15 tenths for 1.5.",
    ),
    "another base": (
        "n := 7#12;",
        "column 6: '7#12' is no number. Write one like 255, 16#FF, 8#377 or 2#1111_1111.",
    ),
    "another type": (
        "n := UINT#5;",
        "column 6: 'UINT#5' has a type that there is not here. "
        "Write INT#5, WORD#16#00FF, BOOL#1 or T#5s, or the number alone.",
    ),
    "out of range": (
        "n := 40000;",
        "column 6: The number '40000' is out of range. An INT goes from -32768 to 32767.",
    ),
    "bits out of range": (
        "n := 16#1_0000;",
        "column 6: The number '16#1_0000' is out of range. A WORD goes from 16#0000 to 16#FFFF.",
    ),
    "no BOOL": ("lamp := BOOL#2;", "column 9: 'BOOL#2' is no BOOL. Write BOOL#0 or BOOL#1."),
    "a date": (
        "n := D#2020;",
        "column 6: 'D#2020' has a type that there is not here. "
        "Write INT#5, WORD#16#00FF, BOOL#1 or T#5s, or the number alone.",
    ),
    "a negative duration": (
        "delay(IN := a, PT := T#-5s);",
        "column 22: 'T#-5s' is no duration. "
        "A duration can't be negative here: no timer runs backward.",
    ),
    "a text": (
        "lamp := 'on';",
        "column 9: A text can't be in a program. It has BOOL, INT and TIME only.",
    ),
    "a pragma": (
        "{fast} lamp := a;",
        "column 1: A pragma can't be in a program. Leave it out, or put it into a comment.",
    ),
    "an array": (
        "lamp := many[3];",
        "column 13: There are no arrays here. Declare a symbol for each element.",
    ),
    "a reference": (
        "lamp := a^;",
        "column 10: There are no references here. Write the symbol itself.",
    ),
    "a power": ("n := m ** 2;", "column 11: There are no powers here. Multiply: n * n."),
    "too many operators": (
        "n := m + 1 + 2 + 3 + 4 + 5 + 6 + 7 + 8 + 9 + 10 + 11 + 12 + 13;",
        "column 6: The assignment has more than 12 operators. "
        "Assign a part of it to another variable in a statement above.",
    ),
    "a sum in a comparison": (
        "lamp := n + m > 5;",
        "column 9: A comparison in a rung compares two values and does not calculate. "
        "Assign the result to an INT in a rung above, and compare that.",
    ),
    "a chain of comparisons": (
        "lamp := 1 < n < 5;",
        "column 15: A comparison stands after a comparison. "
        "Join two of them with AND, or put one into parentheses.",
    ),
    "an order of BOOLs": (
        "lamp := (a AND b) > c;",
        "column 9: > compares numbers or durations, and this is a BOOL. "
        "Join BOOLs with AND, OR and NOT.",
    ),
    "FALSE in a rung": (
        "lamp := a AND FALSE;",
        "column 15: No element of a rung stands for FALSE. "
        "Leave out what never conducts; a BOOL goes OFF with x := FALSE.",
    ),
    "the opposite of an edge": (
        "lamp := NOT RISING(a);",
        "column 9: No contact is the opposite of RISING(a). "
        "Drive an internal bit with it in a rung above, and take that bit here.",
    ),
    "the opposite of a call": (
        "lamp := NOT (a AND delay(PT := T#1s));",
        "column 20: The call of delay can't be negated. "
        "Call it in a rung above, and use NOT on its output, like delay.Q.",
    ),
    "the edge of a network": (
        "lamp := FALLING(a AND b);",
        "column 9: FALLING takes one symbol. For the edge of a network put a block of type F_TRIG "
        "behind it, like (a OR b) AND press().",
    ),
    "another function": (
        "n := SQRT(m);",
        "column 11: The inputs of sqrt have no names here. Name each, like sqrt(PT := T#5s). "
        f"The functions of a rung are {listed(FUNCTIONS)}.",
    ),
    "an elapsed time received": (
        "delay(IN := a, PT := T#1s, ET => soaked);",
        "column 28: ET of delay can't be assigned. "
        "Compare it where it is needed, like delay.ET > T#2s.",
    ),
    "a network at an input": (
        "count(CU := a, R := b OR c, PV := 5);",
        "column 21: R of count takes one symbol or value. "
        "Drive an internal bit in a rung above, and wire that.",
    ),
    "EN": (
        "delay(EN := b, IN := a, PT := T#1s);",
        "column 7: delay has no EN here: it is called in each scan. "
        "Put the condition in front of the block.",
    ),
    "a call under a condition": (
        "IF b THEN delay(IN := a, PT := T#1s); END_IF;",
        "column 11: delay is called under a condition, and a rung calls it in each scan. "
        "Call delay above the IF, and give the condition to its input.",
    ),
    "a condition that is changed": (
        "IF n > 5 THEN n := 0; ELSE n := n + 1; END_IF;",
        "column 28: The rungs of this IF would read n again after one of them has changed it. "
        "Assign what it asks of n to an internal bit above, and ask for that bit.",
    ),
    "an edge and ELSE": (
        "IF RISING(a) THEN n := 1; ELSE n := 2; END_IF;",
        "column 4: No contact is the opposite of RISING(a). "
        "Drive an internal bit with it in a rung above, and take that bit here.",
    ),
    "a block in two branches": (
        "IF a AND delay(PT := T#1s) THEN n := 1; ELSIF b THEN n := 2; END_IF;",
        "column 33: A block is called in a condition that more than one rung needs. "
        "Call it in a statement above, and ask for its output, like delay.Q.",
    ),
    "a constant written": (
        "full := 7;",
        "column 1: full is a constant and can't be written. Declare it in VAR, without CONSTANT.",
    ),
    "an assignment in an assignment": (
        "lamp := horn := a;",
        "column 14: An assignment stands in an assignment. Write them one below the other, "
        "or the coils before one ':=', as in a, b := c.",
    ),
    "an address of a byte": (
        "lamp := %IB3;",
        "column 9: '%IB3' is no direct address of a BOOL. Write it like %IX0.0, %QX0.1 or %MX0.0.",
    ),
    "XOR of too many": (
        "lamp := a XOR b XOR c XOR d XOR a XOR b XOR c XOR d XOR a;",
        "column 9: With its XOR drawn as contacts, the rung has more than 200 elements. "
        "Drive an internal bit with a part of it, and use that bit here.",
    ),
}

REFUSED_DECLARATIONS: dict[str, str] = {
    "VAR x : REAL; END_VAR": "column 9: The type 'REAL' is not known. "
    "The types are BOOL, INT, TIME, WORD, TON, TOF, TP, CTU, CTD, CTUD, R_TRIG, F_TRIG, SR, RS.",
    "VAR_INPUT x : BOOL; END_VAR": "column 1: A program has no VAR_INPUT here: its inputs stand at "
    "addresses like %IX0.0. Declare in VAR, VAR RETAIN or VAR CONSTANT.",
    "VAR_GLOBAL x : BOOL; END_VAR": "column 1: A program has no VAR_GLOBAL here: there is nothing "
    "outside of it. Declare in VAR, VAR RETAIN or VAR CONSTANT.",
    "VAR RETAIN CONSTANT x : INT := 1; END_VAR": "column 5: A constant keeps its value anyhow. "
    "Write VAR CONSTANT, without RETAIN.",
    "VAR step : INT; END_VAR": "column 5: The word 'step' has a meaning of its own and can't be a "
    "symbol. Choose another symbol.",
    "VAR x, y AT %IX0.0 : BOOL; END_VAR": "column 13: 2 symbols have one address. "
    "Declare each with an address of its own.",
    "VAR x : TON := (PT := T#5s); END_VAR": "column 16: '(' is no initial value of a TON. "
    "A block has none: leave it out.",
    "VAR x : INT := T#5s; END_VAR": "column 16: 'T#5s' is no initial value of an INT. "
    "Write a number.",
    "VAR x AT %I* : BOOL; END_VAR": "column 10: '%I*' is no direct address of a BOOL. "
    "Write it like %IX0.0, %QX0.1 or %MX0.0.",
    "VAR x_ : BOOL; END_VAR": "column 5: 'x_' can't be a symbol. "
    "Write a letter first, then letters, digits and single underscores.",
}
