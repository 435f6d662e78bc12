from . import animals, log, people

urlpatterns = [*people.urlpatterns, *animals.urlpatterns, *log.urlpatterns]
