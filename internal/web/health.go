package web

import (
	"context"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Health is what a program on this machine may ask of the station: whether the
// records answer, and counts for Prometheus. From elsewhere there is no such page.
type Health struct {
	answers  *prometheus.CounterVec
	took     *prometheus.HistogramVec
	registry *prometheus.Registry
	alive    func(context.Context) error
}

// NewHealth asks alive whether the records answer. version names the program.
func NewHealth(version string, alive func(context.Context) error) *Health {
	h := &Health{registry: prometheus.NewRegistry(), alive: alive,
		answers: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "cruet_http_answers_total", Help: "Requests answered, by route, method and status."}, []string{"route", "method", "status"}),
		took: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "cruet_http_answer_seconds", Help: "Time until a request was answered, by route.",
			Buckets: []float64{.001, .002, .005, .01, .02, .05, .1, .2, .5, 1, 5, 30}}, []string{"route"})}
	build := prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "cruet_build_info", Help: "1, with the program's version."}, []string{"version"})
	build.WithLabelValues(version).Set(1)
	h.registry.MustRegister(h.answers, h.took, build, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return h
}

// register adds the pages to e, which must count by h.
func (h *Health) register(e *gin.Engine) {
	metrics := promhttp.HandlerFor(h.registry, promhttp.HandlerOpts{})
	e.GET("/healthz", onlyHere, func(c *gin.Context) {
		ctx, cancel := context.WithTimeout(c.Request.Context(), 2*time.Second)
		defer cancel()
		if err := h.alive(ctx); err != nil {
			slog.Error("the records do not answer", "error", err)
			c.String(http.StatusServiceUnavailable, "The records do not answer; the station's log says why.\n")
			return
		}
		c.String(http.StatusOK, "ok\n")
	})
	e.GET("/metrics", onlyHere, func(c *gin.Context) { metrics.ServeHTTP(c.Writer, c.Request) })
}

// count counts by route, which holds no tag; what is on no route is one.
func (h *Health) count(c *gin.Context) {
	if h == nil {
		c.Next()
		return
	}
	start := time.Now()
	c.Next()
	route := c.FullPath()
	if route == "" {
		route = "none"
	}
	method := c.Request.Method
	switch method {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodDelete:
	default:
		method = "other" // whatever a stranger makes up is one
	}
	h.answers.WithLabelValues(route, method, strconv.Itoa(c.Writer.Status())).Inc()
	h.took.WithLabelValues(route).Observe(time.Since(start).Seconds())
}

// onlyHere answers to this machine alone: to a program that calls it by a name of
// its own, not to what a proxy passes on, nor to a page whose name was turned here.
func onlyHere(c *gin.Context) {
	host := hostOf(c.Request.Host)
	ip, err := netip.ParseAddr(host)
	own := host == "localhost" || err == nil && ip.IsLoopback()
	passed := c.GetHeader("X-Forwarded-For") != "" || c.GetHeader("Forwarded") != "" || c.GetHeader("Via") != ""
	if _, _, err := net.SplitHostPort(c.Request.RemoteAddr); err != nil || !isLoopback(c.Request.RemoteAddr) || !own || passed {
		refuse(c, Answer{Status: http.StatusNotFound, Kind: NotFound, Title: "There is no such page", Detail: "It is told to programs on the station itself, and to nobody else."})
		return
	}
	c.Next()
}
