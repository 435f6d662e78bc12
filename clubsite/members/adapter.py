from allauth.account.adapter import DefaultAccountAdapter


class AccountAdapter(DefaultAccountAdapter):
    """People enter the club by invitation only."""

    def is_open_for_signup(self, request):
        return False
