from django.http import HttpRequest


def frame(request: HttpRequest) -> dict[str, object]:
    return {}
