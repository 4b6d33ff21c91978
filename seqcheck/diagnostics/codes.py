"""Every diagnostic's code, with what it means. E refuses a file, W does not.

The explanation of a code is what `seqcheck explain CODE` says to somebody who meets it for the first time.
"""

from enum import Enum


class Code(Enum):
    """Codes by family: 1 text, 2 shape, 3 names, 4 types and values, 5 who may read or write what, 6 time."""

    explanation: str

    def __new__(cls, value: str, explanation: str) -> "Code":
        """Make a code whose value is the short form and which carries its *explanation*."""
        code = object.__new__(cls)
        code._value_ = value
        code.explanation = explanation
        return code

    # --- 1: the text ---
    CANNOT_READ = ("E100", "The file could not be opened or read: there is none of that name, or it may not be read.")
    NOT_TEXT = (
        "E101",
        "A sequence file is text in UTF-8. The line named holds bytes that are none. Save the file as UTF-8 in your editor.",
    )
    FORBIDDEN_CHARACTER = (
        "E102",
        (
            "Control characters, and the rare line and paragraph separators, are refused: nobody sees them, and programs "
            "disagree on what they mean. Tabs and line ends are fine. Delete the character, or write the text anew."
        ),
    )
    TOO_LARGE = (
        "E103",
        (
            "The file, one of its lines, one expression or the number of its entries is beyond what a sequence file can need. "
            "The limits keep a broken or hostile file from taking all time and memory."
        ),
    )
    NESTED_TOO_DEEPLY = (
        "E104",
        "Lists and maps may stand inside one another up to 64 deep. No sequence file needs more than five.",
    )
    BAD_YAML = (
        "E105",
        (
            "The file breaks the rules of YAML: often a bracket that is never closed, a tab used for indentation, an entry "
            "indented differently from its neighbours, or a colon and a space inside a text that is not in quotes. What "
            "follows could not be read, so there may be more to mend."
        ),
    )
    REFUSED_YAML = (
        "E106",
        (
            "Anchors (`&name`), aliases (`*name`), merge keys (`<<`), tags (`!name`) and directives (`%`) are parts of YAML "
            "that a sequence file may not use: what is written must stand where it is read. A text that begins with one of "
            "these characters needs quotes."
        ),
    )
    SEVERAL_DOCUMENTS = ("E107", "One file describes one machine. A line of three dashes begins a second document in the file.")
    EMPTY_FILE = ("E108", "There is nothing in the file, or no map of sections at its top. A file begins with `machine: NAME`.")

    # --- 2: the shape ---
    UNKNOWN_KEY = (
        "E201",
        (
            "Each section and each entry takes certain keys only, so that a slip of the pen can't silently switch a rule off. "
            "`seqcheck schema` prints all of them in a form that editors use to complete and check."
        ),
    )
    MISSING_KEY = ("E202", "The entry lacks a key that it can't do without.")
    DUPLICATE_KEY = (
        "E203",
        (
            "The same key stands twice in one map. YAML readers often keep the last one and drop the first without a word, so "
            "a rule could be lost. Names of variables, sensors, timers and states ignore case: `Gate` and `gate` are one name."
        ),
    )
    WRONG_FORM = (
        "E204",
        (
            "Something of another form is expected here: a text, a list `[a, b]`, or a map `{key: value}`. The help line says "
            "which, with an example."
        ),
    )
    NO_VALUE = ("E205", "The key stands there with nothing after its colon. Give it a value or delete it.")
    CUT_AT_COMMA = (
        "E206",
        (
            "Inside `{ }` and `[ ]` YAML ends an unquoted value at the first comma. A function call such as `SEL(a, b, c)`, "
            "or a text with a comma in it, must stand in quotes there, or in a block of its own line."
        ),
    )
    WHICH_KIND = (
        "E207",
        (
            "The entry is one of several kinds, told apart by their keys, and this one has the keys of none of them, or of "
            "two at once. A fault, for example, is either a stuck sensor, a stuck output, or an effect on parts."
        ),
    )
    EMPTY = (
        "E208",
        "An empty list or map stands where at least one thing is needed: a part without states, a rule that does nothing.",
    )
    NOT_A_CHOICE = ("E209", "Only certain words are allowed here, and this is none of them.")
    BAD_RANGE = (
        "E210",
        (
            "A range is two whole numbers with two dots between them, the lower one first, as in `0..3` or `-5..5`. Both ends "
            "belong to it."
        ),
    )
    BAD_EXPRESSION = (
        "E211",
        (
            "The expression is not Structured Text as IEC 61131-3 has it: comparisons are `= <> < > <= >=`, the logic is "
            "`AND OR XOR NOT`, arithmetic is `+ - * / MOD **`, the functions are SEL, MUX, MIN, MAX, LIMIT and ABS."
        ),
    )
    NOT_WHOLE = (
        "E212",
        (
            "Numbers are whole numbers of at most 18 digits. A quantity with a fraction is written in a smaller unit: 15 "
            "tenths instead of 1.5."
        ),
    )
    UNCLEAR_ORDER = (
        "E213",
        (
            "Editions of the standard and makes of controllers disagree on what comes first here, so parentheses must say it: "
            "in `-a ** b`, and in `a < b = c`, where `<` binds more tightly in one edition and equally in another."
        ),
    )
    EXPRESSION_TOO_DEEP = (
        "E214",
        "The expression nests more than 100 deep. Split it: a sensor can hold a part of it and be read by its name.",
    )

    # --- 3: names ---
    UNKNOWN_NAME = (
        "E301",
        (
            "No variable, sensor or timer has this name. The name of a state is understood only where it is compared with, or "
            "assigned to, a variable that has that state. Names ignore case."
        ),
    )
    NOT_A_STATE = (
        "E302",
        "The name is compared with, or assigned to, a variable that has no such state, and it is no variable either.",
    )
    NAME_TAKEN = (
        "E303",
        (
            "Two things have one name. Variables, sensors and timers share one set of names (case ignored); commands, "
            "people's actions, plant rules, trips, faults and procedures share another; hazards and requirements a third."
        ),
    )
    BAD_NAME = (
        "E304",
        (
            "Names of variables, sensors, timers and states are identifiers of IEC 61131-3: letters A to Z, digits and "
            "underscores, no digit first, none of the words of Structured Text. Other names are free text in one line."
        ),
    )
    SENSOR_CYCLE = (
        "E305",
        "Sensors that read one another in a circle have no value. A sensor may read another one, but not, by any way, itself.",
    )
    UNKNOWN_COMMAND = (
        "E306",
        (
            "No command has this name (in a procedure: no command and no person's action). These names are spelled exactly as "
            "declared, capitals and blanks included."
        ),
    )
    UNKNOWN_PROCEDURE = (
        "E307",
        "No procedure has this name. A procedure may begin where another one ended: `after: ITS NAME`.",
    )
    PROCEDURE_CYCLE = ("E308", "Procedures that each begin where the other ended never begin at all.")
    WRONG_KIND = ("E309", "The name is known, but it names another kind of thing than the one needed here.")
    AMBIGUOUS_NAME = (
        "E310",
        (
            "On both sides stands a name that is a variable's and also a state's of the other side, so the comparison can be "
            "read in two ways. Rename one of them."
        ),
    )

    # --- 4: types and values ---
    UNLIKE_TYPES = (
        "E401",
        (
            "A comparison, an assignment or a choice brings together values of different kinds: truths (FALSE, TRUE), whole "
            "numbers, and states. States agree only if both variables list the same states in the same order."
        ),
    )
    WRONG_OPERAND = (
        "E402",
        (
            "The operator can't work on a value of this kind: AND, OR, XOR and NOT take truths, arithmetic and `< > <= >=` "
            "take whole numbers. States have no order; they can only be compared with `=` and `<>`."
        ),
    )
    NOT_A_TRUTH = (
        "E403",
        "A condition must be TRUE or FALSE. Compare a number or a state with something: `speed > 0`, `gate = shut`.",
    )
    WRONG_ARGUMENTS = ("E404", "SEL takes 3 arguments, MUX 2 or more, MIN and MAX 2 or more, LIMIT 3, ABS 1.")
    CANNOT_COMPUTE = (
        "E405",
        (
            "This can never be worked out, whatever the state: it divides by zero, raises to a negative power, or picks an "
            "input that MUX does not have."
        ),
    )
    OUT_OF_RANGE = ("E406", "The value lies outside what the variable can hold, whatever the state.")
    TOO_GREAT = (
        "E407",
        "The result may grow beyond what 64 bits can hold. Narrow the ranges, or bound the value with LIMIT.",
    )
    TOO_MANY_VALUES = (
        "E408",
        (
            "A variable may have at most 1,048,576 values and 4,096 named states. A search visits combinations of values, so "
            "model a quantity as coarsely as the rules need it."
        ),
    )
    TOO_LARGE_WRITTEN_OUT = (
        "E409",
        "With every sensor in it written out, the expression is more than 100,000 terms large or more than 100 deep.",
    )
    NO_VARIABLES = (
        "E410",
        "A machine needs at least one part, panel item, output or memory: without one there is nothing to search.",
    )
    WRONG_VALUE = ("E411", "The word is none of the values that the variable or sensor can have.")
    SEVERAL_STARTS = (
        "E412",
        (
            "A controller that starts anew gives its outputs, and memory that is not retained, the value that they start with. "
            "With several start values it is not said which one that would be."
        ),
    )
    NO_STOP = (
        "E413",
        (
            "A panel item with `role: emergency_stop` has exactly two states. The first is released, and it starts there; the "
            "second is pressed."
        ),
    )
    SECOND_STOP = (
        "E414",
        (
            "Only one panel item is the emergency stop by which procedures are interrupted. Where a machine has several, mark "
            "one, and let the others be plain panel items that its trips read too."
        ),
    )

    # --- 5: who may read or write what ---
    READS_PART = (
        "E501",
        (
            "Commands, trips and timers are the controller's, and a real controller sees the plant only through its sensors. "
            "Declare a sensor and read that, so that its faults can be studied too."
        ),
    )
    CONTROLLER_WRITES = (
        "E502",
        (
            "Commands and trips are the controller's: they write outputs and memory, nothing else. What the plant makes of an "
            "output is a plant rule."
        ),
    )
    PLANT_WRITES = ("E503", "Plant rules and the effects of faults write parts, nothing else.")
    PERSON_WRITES = (
        "E504",
        "What a person does by hand changes parts and panel items. Outputs and memory are the controller's: give it a command.",
    )
    WRITES_READING = ("E505", "A sensor and a timer follow from the rest and can't be written.")
    SETS_OTHER = (
        "E506",
        "`set` in a procedure moves panel items, nothing else. Everything else has a command or a person's action.",
    )

    # --- 6: time ---
    BAD_DURATION = (
        "E601",
        (
            "A duration is a number and one of the units ms, s, min, h, as in `500 ms` or `1.5 s`, or a literal of Structured "
            "Text such as T#1m30s. An interval is `1..2 s`, `500 ms..2 s`, `3 s or more` or `at once`."
        ),
    )
    NOT_WHOLE_TICKS = (
        "E602",
        (
            "Time passes in ticks (`tick:` at the top of the file; 1 s if it is not given), and every duration must be a "
            "whole number of them: a duration in between could not be kept."
        ),
    )
    BACKWARDS = ("E603", "The end of the interval comes before its beginning.")
    TOO_LONG = ("E604", "A duration may be at most 1,000,000,000 ticks.")
    ZERO_TIME = ("E605", "The tick, and the time of a timer, must be longer than nothing.")

    # --- warnings ---
    SHADOWED_NAME = (
        "W301",
        (
            "The name is a variable's and also a state's of the variable it is compared with or assigned to. The state is "
            "meant. If the variable was meant, rename one of them."
        ),
    )
    ODD_NAME = (
        "W302",
        "IEC 61131-3 has no identifiers with two underscores in a row or with one at the end; other tools may refuse the name.",
    )
