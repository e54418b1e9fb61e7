"""An educator's steps in a browser, for the test of the round and for the pictures."""

NEW = "Please do not shave near your {joint} from now on. The staff will do it if it must be done."
OLD = (
    "Do not shave, wax or clip hair near your {joint} from now on. Small cuts let germs in. "
    "If hair must go, the staff will do it."
)


def enter(open_page, path: str = "/content", **options):
    """Sign in as the educator and go to a page."""
    page = open_page("/sign-in", **options)
    page.get_by_label("Your name").fill("Edie Cole")
    page.get_by_label("Password").fill("four plain words suffice")
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("link", name="Content", exact=True).wait_for()
    page.goto(page.url.split("/", 3)[0] + "//" + page.url.split("/")[2] + path)
    return page


def begin(page) -> None:
    page.get_by_role("link", name="Change what the coach says").click()
    page.get_by_role("button", name="Begin a draft").click()
    page.get_by_text("The draft is open").wait_for()


def change(page, old: str = OLD, new: str = NEW) -> None:
    """Open the file, change a text in it, save and check."""
    if not page.get_by_label("In the draft", exact=True).is_visible():
        page.get_by_label("File", exact=True).select_option("talks/no_shaving.yaml")
        page.get_by_role("button", name="Open it").click()
    field = page.get_by_label("In the draft", exact=True)
    text = field.input_value()
    assert old in text
    field.fill(text.replace(old, new))
    page.get_by_role("button", name="Save and check").click()


def try_it(page, *replies: str) -> None:
    page.get_by_role("link", name="Try a conversation").click()
    page.get_by_role("combobox", name="Conversation").select_option("no_shaving")
    page.get_by_role("button", name="Begin").click()
    for reply in replies:
        page.get_by_label("Your reply as the patient").fill(reply)
        page.get_by_label("Your reply as the patient").press("Enter")
        page.get_by_text(reply, exact=True).first.wait_for()
