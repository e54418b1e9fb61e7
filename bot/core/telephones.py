"""How a telephone number is written for people who read it and dial it."""

import phonenumbers


def grouped(address: str) -> str:
    """A number in groups, as its country writes it: "+1 202-555-0150"; anything else as it is.

    E.123 of the ITU (from memory) has the international form; the groups are the library's.
    """
    if not address.startswith("+"):  # "911", a chat's own id, "no address on file"
        return address
    try:
        number = phonenumbers.parse(address)
    except phonenumbers.NumberParseException:
        return address
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.INTERNATIONAL)
