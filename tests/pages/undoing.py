"""What stands on a page, and pressing the Undo of the last thing said."""

import re
from html import unescape

from django.http import HttpResponse
from django.test import Client


def text_of(response: HttpResponse) -> str:
    """Return the words of a page in one line."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def undo(client: Client, response: HttpResponse) -> HttpResponse:
    """Press the Undo of the last message on a page."""
    found = re.findall(r'<form method="post" action="([^"]+)">[^/]+<button>Undo', response.content.decode())
    assert found, text_of(response)[:400]
    answer = client.post(unescape(found[-1]), follow=True)
    assert answer.status_code == 200, text_of(answer)[:400]
    return answer
