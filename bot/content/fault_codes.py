"""Every fault that `countdown check` can find, by its code; docs/faults.md is made from this."""

from collections.abc import Iterator, Mapping

GROUPS: Mapping[str, Mapping[str, tuple[str, str]]] = {
    "The file itself": {
        "F001": ("The file is missing or is not valid YAML", "Look at indentation and quotes."),
        "F002": ("A tab in the indentation", "Use two spaces."),
        "F003": ("A key stands twice", "Keep one of the two."),
        "F004": ("A key is not a word", "Put the key in quotes."),
        "F010": ("An unknown key", "Check the spelling, or take it out."),
        "F011": ("A key is missing", "Add it."),
        "F012": ("A value of the wrong kind", "Write it as the message says."),
        "F025": ("File name and flow name differ", "Rename the file."),
    },
    "The shape of a conversation": {
        "F020": ("It goes to a state that does not exist", "Add the state, or mend the name."),
        "F021": ("A protocol builds on one that does not exist", "Add it, or take `base` out."),
        "F022": ("A countdown for a surgeon who has no rules", "Write the name as in rules/."),
        "F030": ("Nothing leads to a state", "Lead to it, or take it out."),
        "F031": ("A state goes nowhere, or has two ways on", "Keep one of go, branch, end, asked."),
        "F032": ("A branch has no way for the others", "Add a last arm without `if`."),
        "F033": ("A state both waits and goes on", "Decide which."),
        "F034": ("A question says nothing", "Add `say`."),
        "F035": ("A question has no rule for silence", "Add `silence`."),
        "F036": ("A choice has no reply", "Add it under `replies`."),
        "F037": ("A flow catches an alarm or a stop", "Take it out: these work everywhere."),
        "F038": ("A reply that nobody can give", "Offer it, or use a known kind."),
        "F039": ("No way leads to an end", "Lead to a state with `end`."),
        "F040": ("States lead in a ring without a question", "Put a question on the way."),
        "F059": ("A condition that no patient meets", "Reorder or mend the conditions."),
        "F060": ("An alarm asks before its follow-up is queued", "Queue `call_check` first."),
        "F063": ("After a symptom the talk can end unheard", "Escalate on every way."),
        "F064": ("A reply gets no answer and leads nowhere", "Give it `go`, or `say` and `wait`."),
        "F065": ("After silence a nurse, but for no reason", "Add `escalate`."),
        "F066": ("A question is never asked again", "Use `nudges: 1`."),
        "F075": ("An offered reply is understood as something else", "Change label or question."),
    },
    "The texts": {
        "F041": ("A text is missing in a language", "Add it."),
        "F042": ("Typographic signs", "Type plain quotes, hyphens and dots."),
        "F043": ("A placeholder that does not exist", "Use one of facts.yaml."),
        "F044": ("A line that does not exist is said", "Add it under `wording`."),
        "F045": ("A nudge, simpler question or question to the coach is missing", "Add it."),
        "F046": ("A choice has no label", "Add it under `labels`."),
        "F047": ("A text that nothing says", "Use it, or take it out."),
        "F048": ("Further words for no choice, or for two", "Keep them under one choice."),
        "F070": ("A conversation above grade 6 in English", "Shorten sentences; plain words."),
        "F071": ("A conversation less than quite easy in Spanish", "Shorten sentences."),
        "F072": ("One text much too hard", "Make two sentences of it."),
        "F073": ("A text longer than two SMS parts", "Shorten or split it."),
    },
    "What the files say about each other": {
        "F050": ("An unknown fact", "Add it to facts.yaml, or mend the name."),
        "F051": ("A value that a fact never has", "Use one of its values."),
        "F052": ("No source, or an unknown one", "Cite one of sources.yaml."),
        "F053": ("An unknown conversation", "Add it, or mend the name."),
        "F054": ("An unknown escalation reason", "Add it to escalations.yaml."),
        "F055": ("Two prompts with one id", "Rename one."),
        "F056": ("A time that does not fit its anchor", "Days and a clock time, or minutes."),
        "F057": ("A teaching prompt in quiet hours", "Raise its priority."),
        "F058": ("Past the review date", "Ask the owner to review it."),
        "F061": ("A conversation that the chat needs is missing", "Add it."),
        "F062": ("A line or reason that the chat needs is missing", "Add it."),
    },
    "Questions and answers, and the lexicon": {
        "F080": ("answers.yaml is not YAML", "Mend the line."),
        "F081": ("No list of answers", "Add `answers:`."),
        "F082": ("An entry is not a mapping", "Write `- id: ...`."),
        "F083": ("An unknown key in an entry", "Use the known ones."),
        "F084": ("A key is missing in an entry", "Add it."),
        "F085": ("No source, or an unknown one", "Cite one of sources.yaml."),
        "F086": ("Too few ways of asking", "Add more."),
        "F087": ("No key words", "Add them."),
        "F088": ("No answer in a language", "Add it."),
        "F089": ("The same id or question twice", "Keep one."),
        "F090": ("A question without a key word of its entry", "Add the word."),
        "F091": ("Typographic signs in an answer", "Use plain ones."),
        "F092": ("An unknown placeholder in an answer", "Use a known one."),
        "F093": ("An answer that is too long", "Shorten it."),
        "F095": ("The lexicon cannot be read", "Mend the line as the message says."),
    },
    "Warnings (they do not stop anything)": {
        "W001": ("A rule leaves published guidance", "Change it, or note who decided it and why."),
    },
}


def faults_page() -> str:
    """The table as a page of the documentation."""
    return "\n".join(_lines()) + "\n"


def _lines() -> Iterator[str]:
    yield "# What `countdown check` finds"
    yield ""
    yield "Each fault prints as `CODE file:line: what. How to mend.` This page is made by"
    yield "`countdown check --codes`; a test keeps it current."
    for group, codes in GROUPS.items():
        yield f"\n## {group}\n"
        yield "| Code | What is wrong | How to mend |"
        yield "|---|---|---|"
        for code, (what, mend) in codes.items():
            yield f"| {code} | {what} | {mend} |"
