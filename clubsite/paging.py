"""Pages of a long list that cost about the same at its end as at its beginning."""

from django.core.paginator import Paginator


class LongPaginator(Paginator):
    """Finds the keys of a page first, from whichever end of the list is nearer, then only those rows whole.

    Skipping fifty thousand rows is cheap for keys out of an index, and dear for whole rows with what is joined to them.
    The queryset must be ordered to the last tie.
    """

    def page(self, number):
        number = self.validate_number(number)
        start = (number - 1) * self.per_page
        end = min(start + self.per_page, self.count)
        keys = self.object_list.values_list("pk", flat=True)
        if start > self.count // 2:
            found = list(keys.reverse()[self.count - end : self.count - start])[::-1]
        else:
            found = list(keys[start:end])
        place = {key: i for i, key in enumerate(found)}
        rows = sorted(self.object_list.order_by().filter(pk__in=found), key=lambda row: place[row.pk])
        return self._get_page(rows, number, self)
