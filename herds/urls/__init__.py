from . import animals, log, people, sheets

urlpatterns = [*people.urlpatterns, *animals.urlpatterns, *log.urlpatterns, *sheets.urlpatterns]
